// What moves on a sheet. Every page is right without it. Everything listens at the document, so
// that it still works after a part of the sheet was put in anew.

const root = document.documentElement;
const on = (what, deed) => document.addEventListener(what, deed);
const within = (e, selector) => (e.target instanceof Element ? e.target.closest(selector) : null);
const typing = (t) => t instanceof Element && t.matches('input:not([type=checkbox]),textarea,select');
const say = (text) => { document.querySelector('#spoken').textContent = text; };

// The lamp: at once, and kept for the next sheet.
const flip = () => {
  const night = root.dataset.theme !== 'night';
  root.dataset.theme = night ? 'night' : 'day';
  document.cookie = `lamp=${root.dataset.theme};path=/;max-age=31536000;samesite=strict`;
  const word = document.querySelector('#lamp strong');
  if (word) word.textContent = night ? 'Night' : 'Day';
};
on('submit', (e) => { if (within(e, 'form[action="/lamp"]')) { e.preventDefault(); flip(); } });

// Keys: Alt+1 to 8 open sheets, N the lamp, P prints; a letter opens its decision.
const letterKey = (key) => {
  const letter = key.length === 1 ? key.toUpperCase() : '';
  return letter && document.querySelector(`[data-letter="${CSS.escape(letter)}"] a`);
};
on('keydown', (e) => {
  if (e.altKey && e.key >= '1' && e.key <= '8') {
    const sheet = document.querySelectorAll('.register a')[e.key - 1];
    if (sheet) { e.preventDefault(); location.href = sheet.href; }
    return;
  }
  if (typing(e.target) || e.ctrlKey || e.metaKey || e.altKey || e.defaultPrevented) return;
  if (e.key === 'n' || e.key === 'N') flip();
  else if (e.key === 'p' || e.key === 'P') print();
  else letterKey(e.key)?.focus();
});
on('click', (e) => { if (within(e, '[data-print]')) print(); });

// Choices that change what is shown are taken at once; without script their key does it.
on('change', (e) => { if (within(e, 'select[data-at-once]')) e.target.form.requestSubmit(); });

// Keys that must be held: dead until the cautions are ticked; hold, or press Enter twice.
const ready = (key) =>
  [...(key.form?.querySelectorAll('input[type=checkbox][required]') ?? [])].every((t) => t.checked);
const showHolds = () => {
  for (const key of document.querySelectorAll('.key.hold')) {
    key.setAttribute('aria-disabled', String(!ready(key)));
  }
};
let holding = null, holdTimer = 0, confirmed = { key: null, at: 0 };
const stopHold = () => {
  clearTimeout(holdTimer);
  holding?.classList.remove('filling');
  holding = null;
};
on('change', showHolds);
on('pointerdown', (e) => {
  const key = within(e, '.key.hold');
  if (!key || !ready(key)) return;
  holding = key;
  key.classList.add('filling');
  holdTimer = setTimeout(() => { stopHold(); key.form.requestSubmit(); }, 1200);
});
for (const end of ['pointerup', 'pointercancel']) on(end, stopHold);
on('pointerout', (e) => { if (holding && within(e, '.key.hold') === holding && !holding.contains(e.relatedTarget)) stopHold(); });
on('click', (e) => {
  const key = within(e, '.key.hold');
  if (!key) return;
  e.preventDefault();
  if (!ready(key)) { say('Tick the cautions first.'); return; }
  if (e.detail !== 0) return; // a pointer holds instead
  if (confirmed.key === key && Date.now() - confirmed.at < 4000) { key.form.requestSubmit(); return; }
  confirmed = { key, at: Date.now() };
  say('Press again to confirm.');
});
showHolds();

// Live: when something that this page shows changes, its parts are fetched again and put in place,
// with scroll, focus and what stood open kept.
const RENEWED = ['main.field', 'footer.tb .title'];
const keptOf = (part) => ({
  scrolls: [...part.querySelectorAll('.scroll,.body,.table')].map((x) => [x.scrollLeft, x.scrollTop]),
  open: [...part.querySelectorAll('details')].map((d) => d.open),
  focus: part.contains(document.activeElement) ? focusOf(part) : null,
});
const FOCUSABLE = 'a[href],button,input,select,textarea,summary,[tabindex]';
const focusOf = (part) => ({
  id: document.activeElement.id,
  at: [...part.querySelectorAll(FOCUSABLE)].indexOf(document.activeElement),
});
const keep = (part, kept) => {
  part.querySelectorAll('details').forEach((d, i) => { if (kept.open[i]) d.open = true; });
  part.querySelectorAll('.scroll,.body,.table').forEach((x, i) => {
    if (kept.scrolls[i]) [x.scrollLeft, x.scrollTop] = kept.scrolls[i];
  });
  if (!kept.focus) return;
  const same = (kept.focus.id && document.getElementById(kept.focus.id))
    || part.querySelectorAll(FOCUSABLE)[kept.focus.at];
  same?.focus({ preventScroll: true });
};
const spokenOf = () => (document.querySelector('[data-speak]') ?? document.querySelector('#finding'))?.textContent;
const renew = (fresh) => {
  const [x, y, before] = [scrollX, scrollY, spokenOf()];
  for (const part of RENEWED) {
    const [old, now] = [document.querySelector(part), fresh.querySelector(part)];
    if (!old || !now) continue;
    const kept = keptOf(old);
    const placed = document.adoptNode(now);
    old.replaceWith(placed);
    keep(placed, kept);
  }
  scrollTo(x, y);
  if (spokenOf() !== before) say(spokenOf());
  showHolds();
  document.dispatchEvent(new Event('sheet-renewed'));
};
const watched = () => document.querySelector('[data-live]')?.dataset.live;
// Somebody in the middle of a form is not disturbed.
const busy = () => {
  const t = document.activeElement;
  return holding || (typing(t) && (t.matches('select') || t.value !== t.defaultValue))
    || document.querySelector('main details.form[open]');
};
if (watched() !== undefined) {
  let waiting = 0, last = 0;
  const refresh = async () => {
    if (busy()) { waiting = setTimeout(refresh, 1500); return; }
    const answer = await fetch(location.href, { headers: { 'x-live': '1' } }).catch(() => null);
    waiting = 0;
    last = Date.now();
    if (!answer?.ok || busy()) return;
    renew(new DOMParser().parseFromString(await answer.text(), 'text/html'));
  };
  const events = new EventSource(`/events?about=${encodeURIComponent(watched())}`);
  events.addEventListener('news', () => {
    if (!waiting) waiting = setTimeout(refresh, Math.max(250, last + 1000 - Date.now()));
  });
  events.onerror = () => root.classList.add('cut-off');
  events.onopen = () => root.classList.remove('cut-off');
}
