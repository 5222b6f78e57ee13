// Hold-to-run and stop, in the browser.
//
// Elements with data-jog-axis and data-jog-way are pads: pressed by a pointer, or by Enter or the
// arrow keys while they have the focus. Elements with data-stop stop, as Space and Esc do anywhere.
// Elements with data-take take control. What is refused is told as a "rodbench-refused" event.
// While a pad is held, and this page is seen and has the focus, a renewal goes out every 50 ms with
// the newest tick that this page was sent. Whatever else happens is a release.
(() => {
  "use strict";
  const page = document.currentScript.dataset.page;
  const RENEW_MS = 50;
  const LATE_MS = 300; // without word from the server for so long, the page says that it is late
  const AGAIN_MS = 500;
  const STOP_MS = 250; // a stop that is not confirmed by then goes the other way too
  const root = document.documentElement;
  let line = null;
  let tick = 0;
  let heardAt = 0;
  let moving = false;
  let mine = ""; // what this page keeps alive, by the server: "jog", "move" or ""
  let press = null; // {pad, pointer | key, kept: the server has said that it keeps its rod moving}
  let stopTimer = 0;

  const seen = () => document.visibilityState === "visible";
  const present = () => seen() && document.hasFocus();
  const tell = (what, detail) => window.dispatchEvent(new CustomEvent("rodbench-" + what, { detail }));

  function connect() {
    const scheme = location.protocol === "https:" ? "wss://" : "ws://";
    line = new WebSocket(scheme + location.host + "/hold?page=" + encodeURIComponent(page));
    line.onmessage = (event) => hear(JSON.parse(event.data));
    line.onclose = () => {
      release();
      mine = "";
      root.dataset.line = "gone";
      setTimeout(connect, AGAIN_MS);
    };
  }

  function hear(message) {
    heardAt = performance.now();
    if (Array.isArray(message)) {
      [tick, moving, mine] = message;
      root.dataset.line = "open";
      root.dataset.moving = moving ? "yes" : "no";
      root.dataset.keeps = mine;
      if (press && press.kept && mine !== "jog") release(); // ended otherwise: by a stop, a fault, a soft stop
      else if (press) press.kept = mine === "jog";
    } else if (message.stop) {
      clearTimeout(stopTimer);
      stopTimer = 0;
      root.dataset.stopState = message.stop;
      tell("stop", message);
    } else if (message.refused) {
      release();
      root.dataset.refused = message.refused;
      tell("refused", message);
    }
  }

  function send(message) {
    if (line && line.readyState === WebSocket.OPEN) line.send(JSON.stringify(message));
  }

  // -- hold-to-run

  function begin(pad, by) {
    if (press) return release();
    if (!present() || pad.disabled || pad.getAttribute("aria-disabled") === "true") return;
    const way = by.way || Number(pad.dataset.jogWay);
    press = { pad, ...by };
    pad.dataset.held = "yes";
    send({ do: "begin", axis: Number(pad.dataset.jogAxis), way, seen: tick });
  }

  function release() {
    if (!press) return;
    delete press.pad.dataset.held;
    press = null;
    send({ do: "end" });
  }

  function renew() {
    if (performance.now() - heardAt > LATE_MS && root.dataset.line === "open") root.dataset.line = "late";
    if (press && (!present() || !press.pad.isConnected)) release();
    if (mine === "move" && !seen()) return letGo();
    const queued = line ? line.bufferedAmount : 0; // renewals must not pile up in a line that stands
    if ((press || mine === "move") && !queued) send({ do: "renew", seen: tick });
  }

  function letGo() {
    release();
    if (mine) send({ do: "let go" });
    mine = "";
  }

  // -- stop

  function stop() {
    release();
    root.dataset.stopState = "asked";
    send({ do: "stop" });
    if (!stopTimer) stopTimer = setTimeout(stopOtherWay, STOP_MS);
  }

  async function stopOtherWay() {
    stopTimer = 0;
    try {
      const answer = await fetch("/stop", { method: "POST", keepalive: true });
      root.dataset.stopState = answer.ok ? "sent" : "failed";
    } catch {
      root.dataset.stopState = "failed";
    }
    tell("stop", { stop: root.dataset.stopState });
  }

  // -- what is a press, and what is a release

  const within = (event, pad) => {
    const box = pad.getBoundingClientRect();
    return event.clientX >= box.left && event.clientX <= box.right && event.clientY >= box.top && event.clientY <= box.bottom;
  };
  const typing = (element) => element instanceof Element && element.closest("input, textarea, [contenteditable=true]");
  const listen = (target, names, action) => names.split(" ").forEach((name) => target.addEventListener(name, action, true));

  listen(window, "pointerdown", (event) => {
    if (press) release(); // a second finger
    const on = event.target instanceof Element ? event.target : null;
    if (!on || !event.isTrusted) return;
    if (on.closest("[data-stop]")) return stop();
    const pad = on.closest("[data-jog-axis]");
    if (!pad || event.button !== 0 || !event.isPrimary) return;
    pad.setPointerCapture(event.pointerId);
    begin(pad, { pointer: event.pointerId });
  });
  listen(window, "pointermove", (event) => {
    if (press && press.pointer === event.pointerId && !within(event, press.pad)) release();
  });
  listen(window, "pointerup pointercancel lostpointercapture", (event) => {
    if (press && press.pointer === event.pointerId) release();
  });
  listen(window, "contextmenu", (event) => {
    release();
    if (event.target instanceof Element && event.target.closest("[data-jog-axis]")) event.preventDefault();
  });
  listen(window, "blur", (event) => { // of the window, or of the pad; others lose the focus to it
    if (event.target === window || (press && press.pad === event.target)) release();
  });
  // a long touch must not become a menu, which is a release
  window.addEventListener("touchstart", (event) => {
    if (event.target instanceof Element && event.target.closest("[data-jog-axis]")) event.preventDefault();
  }, { capture: true, passive: false });
  listen(document, "visibilitychange freeze", () => { if (!seen()) letGo(); });
  listen(window, "pagehide", letGo);

  const WAYS = { ArrowRight: 1, ArrowLeft: -1 };
  listen(window, "keydown", (event) => {
    if (event.code === "Escape" || (event.code === "Space" && (moving || !typing(event.target)))) {
      if (event.code === "Space") event.preventDefault(); // no button is pressed by it
      if (!event.repeat) stop();
      return;
    }
    if (press && event.repeat && event.code === press.key) return event.preventDefault();
    if (press) return release(); // a further key
    const pad = event.target instanceof Element && event.target.closest("[data-jog-axis]");
    if (!pad || event.repeat || !event.isTrusted) return;
    if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    if (event.code !== "Enter" && !(event.code in WAYS)) return;
    event.preventDefault();
    begin(pad, { key: event.code, way: WAYS[event.code] });
  });
  listen(window, "keyup", (event) => {
    if (event.code === "Space" && !typing(event.target)) event.preventDefault();
    if (press && press.key === event.code) release();
  });
  listen(window, "click", (event) => {
    const on = event.target instanceof Element ? event.target : null;
    // of an aid that knows no pointer; a pointer has been heard already
    if (on && event.detail === 0 && on.closest("[data-stop]")) stop();
    if (on && on.closest("[data-take]")) send({ do: "take" });
  });

  root.dataset.line = "gone";
  setInterval(renew, RENEW_MS);
  connect();
})();
