// What every message of the server changes on the page: rulers, charts, and whether it is old.
window.rodbench = {
  rulers: {}, places: {}, last: null, rings: {}, strokes: {}, paused: false, heard: Date.now(),
  stale: {}, marks: {}, drawn: 0, DRAW_MS: 250, turns: 0, colours: {},
  KEPT_S: 60,

  take(message) {
    this.heard = Date.now();
    document.body.classList.remove("unheard");
    this.last = message;
    this.tick = message.tick; // the newest of the board that this page was sent
    for (const axis in message.axes) {
      const one = message.axes[axis];
      this.rulers[axis]?.take(one.rod);
      const marks = [one.rod.tripAt, one.rod.tripShown, one.rod.most].join();
      if (one.strokes || marks !== this.marks[axis]) this.stale[axis] = true;
      this.marks[axis] = marks;
      for (const key in one.text) this.say(`.now-${axis} .now-${key}`, one.text[key]);
      if (one.strokes) this.strokes[axis] = one.strokes;
      if (one.trace) this.keep(axis, one.trace, one.anew);
    }
    if (Date.now() - this.drawn >= this.DRAW_MS) this.draw();
  },
  // Charts cost most of a message: seldom, and only those that changed, so that a hold is renewed.
  draw(all) {
    this.drawn = Date.now();
    for (const axis in this.last?.axes || {}) {
      const rod = this.last.axes[axis].rod;
      if (this.stale[axis]) this.stale[axis] = !this.drawStrokes(axis, rod);
      if (all || ++this.turns % 2) this.drawTrace(axis, rod);
    }
  },
  again() {
    for (const axis in this.last?.axes || {}) {
      this.rulers[axis]?.take(this.last.axes[axis].rod);
      this.stale[axis] = true;
    }
    this.draw(true);
  },
  say(where, text) {
    const place = document.querySelector(where);
    if (place && place.textContent !== text) place.textContent = text;
  },
  keep(axis, rows, anew) {
    const ring = anew ? [] : (this.rings[axis] || []);
    ring.push(...rows);
    const first = ring.length ? ring[ring.length - 1][0] - this.KEPT_S : 0;
    let cut = 0;
    while (cut < ring.length && ring[cut][0] < first) cut++;
    this.rings[axis] = ring.slice(cut);
  },

  // -- charts; names of series say what is what, and dashes tell them apart
  chart(name) {
    const place = document.querySelector("." + name);
    return place && place.offsetParent ? getElement(place.id.slice(1))?.chart : null;
  },
  colour(name) { // asked for once a theme: each asking costs a layout
    if (!(name in this.colours))
      this.colours[name] = getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
    return this.colours[name];
  },
  aligned(axis, zero, end, width, whole) {
    const left = whole ? Math.max(0, zero - 72) : 0; // the chart begins where its axis needs room
    const root = document.querySelector(`.rod-${axis}`);
    root?.style.setProperty("--chart-left", left + "px");
    root?.classList.toggle("whole", whole);
    this.places[axis] = { left: zero - left, right: width - end };
    this.again();
  },
  axisLook() {
    const [ink, line, faint] = ["ink", "line", "faint"].map((n) => this.colour(n));
    return {
      nameTextStyle: { color: ink }, axisLabel: { color: ink, hideOverlap: true },
      axisLine: { show: true, onZero: false, lineStyle: { color: line } }, splitLine: { lineStyle: { color: faint } },
    };
  },
  drawStrokes(axis, rod) {
    const chart = this.chart(`strokes-${axis}`), at = this.places[axis];
    if (!chart || !at) return false;
    const { baseline = [], earlier = [], now = [] } = this.strokes[axis] || {};
    const [ink, rodColour, tripColour] = ["ink", "rod", "trip"].map((n) => this.colour(n));
    const mark = (x) => ({ xAxis: x, label: { formatter: "tripped here", color: ink }, lineStyle: { type: [2, 3], color: tripColour, width: 2 } });
    const trip = { yAxis: rod.tripAt, label: { formatter: rod.tripText, position: "insideStartTop", color: ink }, lineStyle: { type: [12, 3, 3, 3], color: tripColour, width: 2 } };
    const lines = [...(rod.tripAt ? [trip] : []), ...(rod.tripShown != null ? [mark(rod.tripShown)] : [])];
    const look = this.axisLook();
    const drawn = [...(baseline.length ? ["baseline"] : []), ...(earlier.length ? ["earlier"] : []), "this stroke"];
    const apart = (lines) => lines.flatMap((line) => [...line, [null, null]]); // in one series
    chart.setOption({
      animation: false, textStyle: { color: ink },
      legend: { data: drawn, textStyle: { color: ink } },
      grid: { left: at.left, right: at.right },
      xAxis: { ...look, axisLabel: { ...look.axisLabel, showMaxLabel: false }, max: rod.most }, yAxis: { ...look, max: rod.tripAt ? rod.currentMost : null },
      series: [
        { name: "baseline", data: apart(baseline), lineStyle: { color: ink }, itemStyle: { color: ink } },
        { name: "earlier", data: apart(earlier), lineStyle: { color: ink }, itemStyle: { color: ink } },
        { name: "this stroke", data: now, lineStyle: { color: rodColour }, itemStyle: { color: rodColour }, markLine: { data: lines } },
      ],
    });
    return true;
  },
  drawTrace(axis, rod) {
    const chart = this.chart(`trace-${axis}`), ring = this.rings[axis];
    if (!chart || !ring || this.paused) return;
    const [ink, rodColour, tripColour, target] = ["ink", "rod", "trip", "target"].map((n) => this.colour(n));
    const end = ring.length ? ring[ring.length - 1][0] : 0;
    const column = (n) => ring.map((row) => [row[0] - end, row[n]]);
    const look = this.axisLook();
    const trip = rod.tripAt ? [{ yAxis: rod.tripAt, label: { formatter: rod.tripText, position: "insideStartTop", color: ink }, lineStyle: { type: [12, 3, 3, 3], color: tripColour, width: 2 } }] : [];
    chart.setOption({
      animation: false, textStyle: { color: ink }, legend: { textStyle: { color: ink } },
      xAxis: [look, look], yAxis: [look, { ...look, max: rod.tripAt ? rod.currentMost : null }],
      dataZoom: [{}, { borderColor: look.axisLine.lineStyle.color, handleStyle: { color: ink, borderColor: ink }, fillerColor: this.colour("faint"), moveHandleStyle: { color: ink } }],
      series: [
        { name: "position", data: column(1), lineStyle: { color: rodColour }, itemStyle: { color: rodColour } },
        { name: "reference", data: column(2), lineStyle: { color: target }, itemStyle: { color: target } },
        { name: "current", data: column(3), lineStyle: { color: rodColour }, itemStyle: { color: rodColour }, markLine: { data: trip } },
      ],
    });
  },
  zoom(seconds) {
    for (const axis in this.rings) {
      const share = 100 * (1 - seconds / this.KEPT_S);
      this.chart(`trace-${axis}`)?.dispatchAction({ type: "dataZoom", start: share, end: 100 });
    }
  },
  pause(still) { this.paused = still; this.again(); },

  // -- a page that hears nothing says so itself: nobody else can
  watch() {
    const silent = (Date.now() - this.heard) / 1000;
    if (silent < 2) return;
    document.body.classList.add("unheard");
    this.say(".unheard-words", `Nothing heard from the program for ${silent.toFixed(0)} s: what stands here is old, `
      + "and Stop may not reach the board. A held rod has stopped by itself. If a rod moves, cut motor power.");
  },
};
setInterval(() => window.rodbench.watch(), 500);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { rodbench.colours = {}; rodbench.again(); });

// -- keys: hold.js, at the window too, hears Space and Esc; nothing below it does, or a button that
// has the focus would act on what is meant as a stop
for (const name of ["keydown", "keyup"])
  addEventListener(name, (event) => {
    const typing = event.target instanceof Element && event.target.closest("input, textarea");
    const moving = document.documentElement.dataset.moving === "yes";
    if (event.code === "Escape" || (event.code === "Space" && (moving || !typing))) event.stopPropagation();
  }, true);
addEventListener("rodbench-stop", (event) => {
  const failed = event.detail.stop === "failed";
  document.body.classList.toggle("unstopped", failed);
  rodbench.say(".unstopped-words", failed ? `Stop did not reach the board${event.detail.why ? ": " + event.detail.why : ""}. If a rod moves, cut motor power.` : "");
});
