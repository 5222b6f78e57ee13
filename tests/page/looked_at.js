// Measures what is on the screen. Gives findings in words, and how much was looked at.
() => {
  const findings = [], measured = { texts: 0, targets: 0 };
  const bar = document.querySelector(".stop");
  const dialog = document.querySelector(".q-dialog .box");
  const name = (e) => `${e.tagName.toLowerCase()}.${[...e.classList].join(".")} "${(e.textContent || e.ariaLabel || "").trim().slice(0, 40)}"`;
  const shown = (e) => e.checkVisibility({ opacityProperty: true, visibilityProperty: true, contentVisibilityAuto: true }) && e.getClientRects().length > 0;

  // -- stop: in view, and on top wherever it is touched
  if (bar) {
    const r = bar.getBoundingClientRect();
    if (r.left < 0 || r.top < 0 || r.right > innerWidth || r.bottom > innerHeight || r.width < 44 || r.height < 44)
      findings.push(`stop not wholly in view: ${JSON.stringify(r)}`);
    for (let i = 1; i < 10; i++)
      for (let k = 1; k < 10; k++) {
        const top = document.elementFromPoint(r.left + (r.width * i) / 10, r.top + (r.height * k) / 10);
        if (!bar.contains(top)) findings.push(`stop covered by ${top && name(top)}`);
      }
    const phone = innerWidth <= 700;
    if (phone ? r.width < innerWidth - 1 : r.height < innerHeight - 1) findings.push("stop does not reach from side to side");
  }
  if (document.documentElement.scrollWidth > innerWidth) findings.push("the page scrolls sideways");

  // -- targets: 44 px, and none over another
  const inside = dialog || document.body;
  const kinds = "button, a[href], input, textarea, select, [role=button], [role=slider], [tabindex='0']";
  const targets = [...inside.querySelectorAll(kinds)].filter(shown).map((e) => e.matches("input, textarea") ? e.closest(".q-field__control") || e : e);
  const all = [...new Set([...targets, ...(bar ? [bar] : [])])].filter((e) => !e.closest(".q-focus-helper") && !e.classList.contains("q-dialog") && !(e.classList.contains("q-slider__focus-ring")));
  const boxes = all.map((e) => ({ e, r: e.getBoundingClientRect() }));
  measured.targets = boxes.length;
  const clip = (e) => { // the part that its scrolling parents let through
    let { left, top, right, bottom } = e.getBoundingClientRect();
    if (getComputedStyle(e).position === "fixed") return { left, top, right, bottom };
    for (let p = e.parentElement; p && getComputedStyle(p).position !== "fixed"; p = p.parentElement)
      if (/(auto|scroll|hidden)/.test(getComputedStyle(p).overflowY)) {
        const q = p.getBoundingClientRect();
        [left, top, right, bottom] = [Math.max(left, q.left), Math.max(top, q.top), Math.min(right, q.right), Math.min(bottom, q.bottom)];
      }
    return { left, top, right, bottom };
  };
  const small = boxes.filter(({ r }) => r.width < 43.9 || r.height < 43.9);
  for (const { e, r } of small) findings.push(`target ${r.width.toFixed(0)} x ${r.height.toFixed(0)}: ${name(e)}`);
  for (let i = 0; i < boxes.length; i++)
    for (let k = i + 1; k < boxes.length; k++) {
      const [a, b] = [boxes[i].e, boxes[k].e];
      if (a.contains(b) || b.contains(a)) continue;
      const [p, q] = [clip(a), clip(b)];
      const wide = Math.min(p.right, q.right) - Math.max(p.left, q.left), tall = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
      if (wide > 1 && tall > 1) findings.push(`${name(a)} overlaps ${name(b)}`);
    }

  // -- text: not cut, and of enough contrast
  const rgba = (text) => { const c = (text.match(/[\d.]+/g) || []).map(Number); return { r: c[0], g: c[1], b: c[2], a: c.length > 3 ? c[3] : 1 }; };
  const luminance = ({ r, g, b }) => [r, g, b].map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)).reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
  const ratio = (a, b) => { const [x, y] = [luminance(a), luminance(b)].sort((m, n) => n - m); return (x + 0.05) / (y + 0.05); };
  const over = (top, under) => ({ r: top.r * top.a + under.r * (1 - top.a), g: top.g * top.a + under.g * (1 - top.a), b: top.b * top.a + under.b * (1 - top.a), a: 1 });
  const ground = (e) => {
    const layers = [];
    for (let p = e; p; p = p.parentElement) { const c = rgba(getComputedStyle(p).backgroundColor); layers.push(c); if (c.a === 1) break; }
    return layers.reverse().reduce((under, top) => over(top, under), { r: 255, g: 255, b: 255, a: 1 });
  };
  const opacity = (e) => { let o = 1; for (let p = e; p; p = p.parentElement) o *= Number(getComputedStyle(p).opacity); return o; };
  const walker = document.createTreeWalker(inside, NodeFilter.SHOW_TEXT);
  const seen = new Set();
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const e = node.parentElement;
    if (!node.textContent.trim() || !e || !shown(e) || seen.has(e) || e.closest("style, script, title, .q-icon")) continue;
    if (!dialog && e.closest(".q-dialog")) continue;
    seen.add(e); measured.texts++;
    const style = getComputedStyle(e), isSvg = e instanceof SVGElement;
    const colour = rgba(isSvg ? style.fill : style.color), under = ground(e);
    colour.a *= opacity(e);
    const got = ratio(over(colour, under), under), size = parseFloat(style.fontSize), bold = Number(style.fontWeight) >= 700;
    const need = size >= 24 || (bold && size >= 18.66) ? 3 : 4.5;
    if (got < need) findings.push(`contrast ${got.toFixed(2)} below ${need}: ${name(e)}`);
    if (size < 12.9) findings.push(`text of ${size} px: ${name(e)}`);
    const range = document.createRange(); range.selectNodeContents(node);
    for (const r of range.getClientRects()) {
      for (let p = e; p && p !== document.body; p = p.parentElement) {
        const q = p.getBoundingClientRect(), s = getComputedStyle(p);
        const hides = isSvg && p.tagName === "svg" ? true : /(hidden|clip)/.test(s.overflowX) || s.textOverflow === "ellipsis";
        if (hides && (r.left < q.left - 1 || r.right > q.right + 1)) findings.push(`text cut: ${name(e)} by ${name(p)}`);
      }
      if (!isSvg && (r.left < -1 || r.right > innerWidth + 1)) findings.push(`text out of view: ${name(e)}`);
    }
    if (!isSvg && e.clientWidth && e.scrollWidth > e.clientWidth + 1) findings.push(`text too wide: ${name(e)}`);
  }
  for (const e of inside.querySelectorAll("input")) if (shown(e) && e.scrollWidth > e.clientWidth + 1) findings.push(`value cut: ${e.value}`);
  for (const label of inside.querySelectorAll(".q-field__label")) if (shown(label) && label.scrollWidth > label.clientWidth + 1) findings.push(`label cut: ${name(label)}`);

  // -- texts that lie over one another on the ruler
  for (const svg of inside.querySelectorAll(".ruler svg")) {
    const texts = [...svg.querySelectorAll("text")].map((t) => ({ t, r: t.getBoundingClientRect() }));
    for (let i = 0; i < texts.length; i++)
      for (let k = i + 1; k < texts.length; k++) {
        const [p, q] = [texts[i].r, texts[k].r];
        if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 3)
          findings.push(`"${texts[i].t.textContent}" over "${texts[k].t.textContent}"`);
      }
  }

  // -- graphics: what carries meaning stands out by 3
  const root = getComputedStyle(document.documentElement);
  const probe = document.body.appendChild(document.createElement("i"));
  const value = (v) => { probe.style.color = root.getPropertyValue("--" + v); return rgba(getComputedStyle(probe).color); };
  for (const v of ["rod", "target", "trip", "soft", "line", "ink", "focus"])
    for (const g of ["sheet", "card"]) {
      const got = ratio(value(v), value(g));
      const need = v === "soft" || v === "ink" ? 4.5 : 3;
      if (got < need) findings.push(`--${v} on --${g}: ${got.toFixed(2)}`);
    }
  if (ratio(value("stop"), value("sheet")) < 3) findings.push("the bar does not stand out");
  probe.remove();
  for (const b of inside.querySelectorAll("button, input, [role=slider], [role=img], [role=progressbar]"))
    if (shown(b) && !(b.ariaLabel || b.getAttribute("aria-label") || b.textContent.trim() || b.closest("label"))) findings.push(`without a name: ${name(b)}`);
  return { findings: [...new Set(findings)], measured, stop: !!bar && shown(bar) };
}
