// Hands on the picture: mouse, keyboard, touch; links that jump into it.
function goToScope() {
  scope.parentElement.scrollIntoView({ block: 'start' });
  scope.focus({ preventScroll: true });
}

const DO = {
  whole: () => { view.mark = null; show(0, data.duration); }, focus: () => show(data.focus[0], data.focus[1]),
  in: () => zoom(0.5), out: () => zoom(2), left: () => pan(-0.4), right: () => pan(0.4), prev: () => step(-1), next: () => step(1),
};
const KEYS = {
  '+': DO.in, '=': DO.in, '-': DO.out, 0: DO.whole, Home: DO.whole, ArrowLeft: () => pan(-0.15), ArrowRight: () => pan(0.15),
  ArrowUp: DO.in, ArrowDown: DO.out, n: DO.next, N: DO.next, p: DO.prev, P: DO.prev, f: DO.focus, F: DO.focus,
};

function startScope() {
  scope.closest('.scope').hidden = false;
  for (const button of document.querySelectorAll('[data-do]')) button.addEventListener('click', DO[button.dataset.do]);
  scope.addEventListener('keydown', event => {
    if (event.ctrlKey || event.metaKey || event.altKey || !KEYS[event.key]) return;
    KEYS[event.key](); event.preventDefault();
  });
  // Without a click first, or Ctrl, the wheel scrolls the page as everywhere.
  scope.addEventListener('wheel', event => {
    if (document.activeElement !== scope && !event.ctrlKey) return;
    event.preventDefault();
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) pan((event.deltaX || event.deltaY) / 800);
    else zoom(Math.exp(Math.max(-400, Math.min(400, event.deltaY)) / 400), timeAt(event.offsetX));
  }, { passive: false });
  const fingers = new Map();
  scope.addEventListener('pointerdown', event => { fingers.set(event.pointerId, event.offsetX); scope.setPointerCapture(event.pointerId); });
  scope.addEventListener('pointermove', event => {
    if (!fingers.has(event.pointerId)) return;
    const before = fingers.get(event.pointerId), now = event.offsetX;
    if (fingers.size === 1) pan((before - now) / (wide - left));
    else {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      const apart = Math.max(8, Math.abs(now - other));
      zoom(Math.max(8, Math.abs(before - other)) / apart, timeAt((now + other) / 2));
    }
    fingers.set(event.pointerId, now);
  });
  for (const name of ['pointerup', 'pointercancel']) scope.addEventListener(name, event => fingers.delete(event.pointerId));
  for (const link of document.querySelectorAll('a.see'))
    link.addEventListener('click', event => {
      event.preventDefault();
      if (link.dataset.i !== undefined) showMessage(+link.dataset.i); else showMoment(+link.dataset.t);
      goToScope();
    });
  new ResizeObserver(redraw).observe(scope);
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { readInk(); redraw(); });
  readInk();
  show(data.focus[0], data.focus[1]);
}

document.documentElement.classList.add('live');
startScope();
const box = document.getElementById('list');
if (box) { box.parentElement.hidden = false; startList(box); }
