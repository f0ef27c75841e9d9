// Live results: while inputs are typed, the answer is worked out again.
const form = document.querySelector('form[data-calc]');
const found = document.querySelector('#found');
let waiting = 0;
form?.addEventListener('input', () => {
  clearTimeout(waiting);
  waiting = setTimeout(async () => {
    const query = new URLSearchParams(new FormData(form));
    const answer = await fetch(`${location.pathname}?${query}`, { headers: { 'x-live': '1' } });
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
    found.replaceChildren(...page.querySelector('#found').childNodes);
    for (const field of form.elements) {
      const fresh = field.id && page.getElementById(field.id);
      if (!fresh) continue;
      const [note, now] = [document.getElementById(`note-${field.id}`), page.getElementById(`note-${field.id}`)];
      if (note && now) note.replaceChildren(...now.childNodes);
      if (fresh.getAttribute('aria-invalid')) field.setAttribute('aria-invalid', 'true');
      else field.removeAttribute('aria-invalid');
    }
    history.replaceState(null, '', `?${query}`);
  }, 250);
});
