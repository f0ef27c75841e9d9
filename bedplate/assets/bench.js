// The gauge bench: a gauge that types, or a foot switch, is heard wherever the focus is.

const value = () => document.querySelector('#value');
const typing = (t) => t instanceof Element && t.matches('input,textarea,select');

// The field for the reading takes the focus after a renewal, unless somebody is elsewhere.
document.addEventListener('sheet-renewed', () => {
  if (document.activeElement === document.body) value()?.focus({ preventScroll: true });
});

const step = (by) => {
  const select = document.querySelector('#position');
  if (!select) return;
  const last = select.options.length - 1;
  select.selectedIndex = Math.min(last, Math.max(0, select.selectedIndex + by));
};

document.addEventListener('keydown', (e) => {
  const field = value();
  if (!field || e.ctrlKey || e.metaKey || e.altKey) return;
  const inField = e.target === field;
  if (typing(e.target) && !inField) return;
  if (e.key === 'ArrowLeft' || e.key === 'ArrowRight') {
    if (inField && field.value) return;
    e.preventDefault();
    step(e.key === 'ArrowRight' ? 1 : -1);
  } else if (e.key === ' ' && e.target === document.body) {
    // The foot switch: takes the reading that stands in the field.
    e.preventDefault();
    if (field.value) field.form.requestSubmit();
  } else if ((e.key === 'z' || e.key === 'Z') && !field.value) {
    const back = document.querySelector('.withdraw');
    if (!back) return;
    e.preventDefault();
    back.open = true;
    back.querySelector('#why').focus();
  } else if (!inField && /^[0-9+\-.,−]$/.test(e.key)) {
    field.focus();
  }
});
