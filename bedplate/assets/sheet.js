// What moves on a sheet. Every page is right without it.

const root = document.documentElement;
const typing = (t) => t.matches('input,textarea,select');

// The lamp: at once, and kept for the next sheet.
const lamp = document.querySelector('#lamp');
const flip = () => {
  const night = root.dataset.theme !== 'night';
  root.dataset.theme = night ? 'night' : 'day';
  document.cookie = `lamp=${root.dataset.theme};path=/;max-age=31536000;samesite=strict`;
  lamp.querySelector('strong').textContent = night ? 'Night' : 'Day';
};
lamp?.form.addEventListener('submit', (e) => { e.preventDefault(); flip(); });

// Keys: Alt+1 to 8 open sheets, N the lamp, P prints; a letter opens its decision.
const sheets = [...document.querySelectorAll('.register a')];
addEventListener('keydown', (e) => {
  if (e.altKey && e.key >= '1' && e.key <= '8') { e.preventDefault(); location.href = sheets[e.key - 1].href; return; }
  if (typing(e.target) || e.ctrlKey || e.metaKey || e.altKey) return;
  if (e.key === 'n' || e.key === 'N') flip();
  else if (e.key === 'p' || e.key === 'P') print();
  else {
    const decision = document.querySelector(`[data-letter="${CSS.escape(e.key.toUpperCase())}"] a`);
    if (decision) decision.focus();
  }
});
document.querySelectorAll('[data-print]').forEach((b) => b.addEventListener('click', () => print()));

// Keys that must be held: dead until the cautions are ticked; Enter twice, or hold.
for (const key of document.querySelectorAll('.key.hold')) {
  const form = key.form;
  const ticks = [...form.querySelectorAll('input[type=checkbox][required]')];
  const ready = () => ticks.every((t) => t.checked);
  const show = () => { key.setAttribute('aria-disabled', String(!ready())); };
  ticks.forEach((t) => t.addEventListener('change', show));
  show();
  let timer = 0, asked = 0;
  const spoken = document.querySelector('#spoken');
  const start = () => { if (!ready()) return; key.classList.add('filling'); timer = setTimeout(() => form.requestSubmit(), 1200); };
  const stop = () => { clearTimeout(timer); key.classList.remove('filling'); };
  key.addEventListener('pointerdown', start);
  for (const end of ['pointerup', 'pointerleave', 'pointercancel']) key.addEventListener(end, stop);
  key.addEventListener('click', (e) => {
    e.preventDefault();
    if (e.detail !== 0) return; // a pointer holds instead
    if (!ready()) { spoken.textContent = 'Tick the cautions first.'; return; }
    if (Date.now() - asked < 4000) { form.requestSubmit(); return; }
    asked = Date.now();
    spoken.textContent = 'Press again to confirm.';
  });
}

// Live: when something that this page shows changes, its body is fetched again and put in place.
const watch = document.querySelector('[data-live]')?.dataset.live;
if (watch !== undefined) {
  const events = new EventSource(`/events?about=${encodeURIComponent(watch)}`);
  let waiting = 0;
  const refresh = async () => {
    waiting = 0;
    if (typing(document.activeElement) && document.activeElement.value) { waiting = setTimeout(refresh, 1500); return; }
    const answer = await fetch(location.href, { headers: { 'x-live': '1' } });
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html');
    const focused = document.activeElement?.id;
    for (const part of ['main.field', 'footer.tb .title']) {
      const [old, now] = [document.querySelector(part), fresh.querySelector(part)];
      if (old && now) old.replaceWith(document.adoptNode(now));
    }
    if (focused) document.getElementById(focused)?.focus();
    document.dispatchEvent(new Event('sheet-renewed'));
  };
  events.addEventListener('news', () => { if (!waiting) waiting = setTimeout(refresh, 250); });
  events.onerror = () => root.classList.add('cut-off');
  events.onopen = () => root.classList.remove('cut-off');
}
