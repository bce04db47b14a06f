// The list of every entry: only the rows in sight exist.
function startList(box) {
  const ROW = 32, rows = data.rows, count = rows.t.length, times = running(rows.t, TICK);
  const space = document.createElement('div');
  space.className = 'space'; space.style.height = count * ROW + 'px'; space.setAttribute('role', 'presentation');
  box.append(space);
  const live = new Map();
  let active = 0;

  function part(text, name) { const e = document.createElement('span'); e.textContent = text; if (name) e.className = name; return e; }
  function make(n) {
    const item = document.createElement('div');
    item.className = 'item'; item.id = 'item-' + n; item.setAttribute('role', 'option');
    item.setAttribute('aria-setsize', count); item.setAttribute('aria-posinset', n + 1);
    item.setAttribute('aria-selected', n === active ? 'true' : 'false');
    item.style.top = n * ROW + 'px';
    const i = rows.i[n], kind = i >= 0 ? data.kinds[data.kind[i]] : null;
    item.append(part(times[n].toFixed(4) + ' s', 'when'));
    if (kind && kind.from < 3) item.append(part(data.parties[kind.from] + ': '));
    const name = document.createElement('b'); name.textContent = data.words[rows.name[n]]; item.append(name);
    const says = data.words[rows.says[n]], heard = data.words[rows.heard[n]];
    if (rows.n[n] > 1) item.append(part(' sent ' + rows.n[n] + ' times'));
    if (says) item.append(part(' ' + says));
    if (heard) item.append(part(' (' + heard + ')', rows.state[n] === 2 ? 'bad' : ''));
    if (rows.state[n] === 4) item.classList.add('bad');
    item.addEventListener('click', () => open(n));
    return item;
  }
  function fill() {
    const from = Math.max(0, Math.floor(box.scrollTop / ROW) - 8), to = Math.min(count, Math.ceil((box.scrollTop + box.clientHeight) / ROW) + 8);
    for (const [n, item] of live) if (n < from || n >= to) { item.remove(); live.delete(n); }
    for (let n = from; n < to; n++) if (!live.has(n)) { const item = make(n); live.set(n, item); box.append(item); }
    box.setAttribute('aria-activedescendant', 'item-' + active);
  }
  function choose(n) {
    const before = live.get(active);
    if (before) before.setAttribute('aria-selected', 'false');
    active = Math.min(Math.max(0, n), count - 1);
    const top = active * ROW;
    if (top < box.scrollTop) box.scrollTop = top;
    else if (top + ROW > box.scrollTop + box.clientHeight) box.scrollTop = top + ROW - box.clientHeight;
    fill();
    live.get(active).setAttribute('aria-selected', 'true');
  }
  function table(fields) {
    const t = document.createElement('table'), head = t.createTHead().insertRow(), body = t.createTBody();
    t.className = 'fields';
    for (const name of ['bits', 'field', 'value', 'meaning']) { const th = document.createElement('th'); th.scope = 'col'; th.textContent = name; head.append(th); }
    for (const field of fields) { const r = body.insertRow(); for (const cell of field) r.insertCell().textContent = cell; }
    return t;
  }
  function open(n) {
    choose(n);
    const pane = document.getElementById('opened'), i = rows.i[n];
    pane.replaceChildren();
    const title = document.createElement('p');
    title.append(part(times[n].toFixed(6) + ' s ', 'when'), part(data.words[rows.name[n]] + ' ' + data.words[rows.says[n]]));
    pane.append(title);
    if (i < 0) return;
    const see = document.createElement('button');
    see.type = 'button'; see.textContent = 'Show the signal'; see.addEventListener('click', () => { showMessage(i); goToScope(); });
    pane.append(see);
    const kind = data.kinds[data.kind[i]];
    for (const number of kind.parts || []) {
      const [name, raw, gist, fields] = data.parts[number];
      const p = document.createElement('p'), b = document.createElement('b'), code = document.createElement('code');
      b.textContent = name; code.textContent = raw; p.append(b, ' ', code, ' ' + gist);
      pane.append(p);
      if (fields.length) pane.append(table(fields));
    }
    if (kind.hex !== undefined && !(kind.parts || []).length) pane.append(part('Bytes: ' + kind.hex));
  }
  box.addEventListener('scroll', () => requestAnimationFrame(fill), { passive: true });
  box.addEventListener('keydown', event => {
    const page = Math.max(1, Math.floor(box.clientHeight / ROW) - 1);
    const to = { ArrowDown: active + 1, ArrowUp: active - 1, PageDown: active + page, PageUp: active - page, Home: 0, End: count - 1 }[event.key];
    if (to !== undefined) choose(to);
    else if (event.key === 'Enter' || event.key === ' ') open(active);
    else return;
    event.preventDefault();
  });
  fill();
}
