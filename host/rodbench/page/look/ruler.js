// One rod on the ruler, pin to pin and to scale. x in px of a place in mm: zero + k * mm.
const EDGE = 56, SHORT = 84, LEAST = 700; // room at the right; tube drawn short; width for the whole
const SETTLED_MS = 900; // after the last arrow key, a draft is asked about
const TALL = 148, ROD = 52, SCALE = 116;

function step(k) {
  // The smallest 1, 2, 5 step of the unit whose numbers keep 46 px apart.
  for (let ten = 0.01; ; ten *= 10)
    for (const one of [1, 2, 5]) if (one * ten * k >= 46) return one * ten;
}

export default {
  props: { axis: Number, setup: Object },
  data: () => ({ width: 0, now: {}, draft: null, drag: null }),
  template: `
  <div class="ruler" :class="{ uncertain: !known }">
    <svg :width="width" :height="known ? tall : 84" role="img" :aria-label="words" v-if="width">
      <g class="tube">
        <path :d="tubePath" />
        <circle :cx="rear" :cy="rod" r="6" />
      </g>
      <g v-if="known">
        <line class="tick" :x1="x(0)" :x2="x(span)" :y1="scale" :y2="scale" />
        <g v-for="t in ticks" :key="t.mm">
          <line class="tick" :x1="x(t.mm)" :x2="x(t.mm)" :y1="scale" :y2="scale + 7" />
          <text :x="x(t.mm)" :y="scale + 22" text-anchor="middle">{{ t.text }}</text>
        </g>
        <text :x="x(span) + 14" :y="scale + 22">{{ setup.unit.name }}</text>
        <g class="end" v-for="end in [0, setup.stroke]" :key="end">
          <line :x1="x(end)" :x2="x(end)" y1="32" y2="72" />
        </g>
        <g v-if="now.low != null">
          <line class="soft" :x1="x(now.low)" :x2="x(now.low)" y1="24" :y2="scale - 2" />
          <line class="soft" :x1="x(now.high)" :x2="x(now.high)" y1="24" :y2="scale - 2" />
        </g>
        <g v-if="now.pos != null">
          <rect class="bar" :x="mouth" :width="Math.max(0, x(now.pos) - mouth)" :y="rod - 6" height="12" />
          <circle class="pin" :cx="x(now.pos)" :cy="rod" r="9" />
          <line class="at" :x1="x(now.pos)" :x2="x(now.pos)" y1="22" :y2="scale" />
          <text class="place" :x="labelX" y="16" text-anchor="middle">{{ now.place }}</text>
        </g>
        <path v-if="now.target != null" class="target" :d="down(x(now.target), 32)" />
        <path v-if="now.trip != null" class="trip" :d="cross(x(now.trip), rod)" />
      </g>
      <text v-else class="unsure" :x="unsureX" y="16">{{ now.place }}</text>
      <rect v-if="band" class="band" :x="band[0]" :width="band[1]" :y="rod - 6" height="12" />
    </svg>
    <template v-if="known && now.low != null && width">
      <button v-for="side in sides" :key="side.key" type="button" class="soft-stop" :class="[side.key, side.class]"
        role="slider" :disabled="!setup.controls" :style="{ left: side.left + 'px' }"
        :aria-label="side.label" :aria-valuemin="0" :aria-valuemax="number(setup.stroke)"
        :aria-valuenow="number(side.mm)" :aria-valuetext="number(side.mm) + ' ' + setup.unit.name"
        @pointerdown="begin(side.key, $event)" @pointermove="move" @pointerup="end" @pointercancel="cancel"
        @keydown="keyed(side.key, $event)"><b aria-hidden="true">{{ side.glyph }}</b>{{ number(side.mm) }}</button>
    </template>
  </div>`,
  computed: {
    tall: () => TALL,
    rod: () => ROD,
    scale: () => SCALE,
    span() { return this.setup.longest; },
    known() { return this.setup.kind === "pot"; },
    whole() { return this.setup.longestTube > 0 && this.width >= LEAST; },
    k() {
      const room = this.width - EDGE - (this.whole ? 24 : SHORT);
      return room / (this.span + (this.whole ? this.setup.longestTube : 0));
    },
    zero() { return this.whole ? 24 + this.k * this.setup.longestTube : SHORT; },
    rear() { return this.whole ? this.zero - this.k * (this.setup.tube || this.setup.longestTube) : 14; },
    mouth() { return this.zero - 12; },
    tubePath() {
      const [a, b, t, l] = [this.rear, this.mouth, ROD - 15, ROD + 15];
      const cut = (a + b) / 2; // a tube that is drawn short has the break of a drawing
      if (this.whole && this.setup.tube) return `M${a} ${ROD - 8}V${t}H${b}V${l}H${a}Z`;
      return `M${cut - 4} ${t}H${a}V${l}H${cut - 8}L${cut - 2} ${ROD + 4}L${cut - 10} ${ROD - 4}Z` +
        `M${cut + 6} ${t}H${b}V${l}H${cut + 2}L${cut + 8} ${ROD + 4}L${cut} ${ROD - 4}Z`;
    },
    ticks() {
      const per = this.setup.unit.per, by = step(this.k / per), digits = by < 1 ? (by < 0.1 ? 2 : 1) : 0;
      const list = [];
      for (let n = 0; n * by <= this.span * per + 1e-9; n++)
        list.push({ mm: (n * by) / per, text: (n * by).toFixed(digits) });
      return list;
    },
    labelX() { return Math.min(Math.max(this.x(this.now.pos), 52), this.width - 52); },
    unsureX() { return 8; },
    band() { // where the rod's end may be, as far as anything tells it
      if (this.known) return null;
      const third = (this.width - EDGE - this.mouth) / 3;
      const at = { retracted: 0, between: 1, extended: 2 }[this.now.near];
      return at === undefined ? [this.mouth, 3 * third] : [this.mouth + at * third, third];
    },
    words() { return `${this.setup.name}: ${this.now.place || "place unknown"}`; },
    sides() {
      const low = this.draft?.low ?? this.now.low, high = this.draft?.high ?? this.now.high;
      const changed = (mm, live) => (Math.abs(mm - live) > 1e-6 ? "draft" : "");
      return [
        { key: "low", glyph: "[", mm: low, left: this.x(low) - 44, class: changed(low, this.now.low),
          label: `${this.setup.name}: soft stop, retract side` },
        { key: "high", glyph: "]", mm: high, left: this.x(high), class: changed(high, this.now.high),
          label: `${this.setup.name}: soft stop, extend side` },
      ];
    },
  },
  mounted() {
    this.watcher = new ResizeObserver(() => this.measure());
    this.watcher.observe(this.$el);
    this.measure();
    rodbench.rulers[this.axis] = this;
    rodbench.again();
  },
  unmounted() {
    this.watcher.disconnect();
    clearTimeout(this.waits);
    delete rodbench.rulers[this.axis];
  },
  methods: {
    x(mm) { return this.zero + this.k * mm; },
    number(mm) { return (mm * this.setup.unit.per).toFixed(this.setup.unit.digits); },
    down: (x, y) => `M${x - 9} ${y - 12}H${x + 9}L${x} ${y + 2}Z`,
    cross: (x, y) => `M${x - 8} ${y - 8}L${x + 8} ${y + 8}M${x + 8} ${y - 8}L${x - 8} ${y + 8}`,
    measure() {
      this.width = this.$el.clientWidth;
      this.$nextTick(() => rodbench.aligned(this.axis, this.zero, this.x(this.span), this.width, this.whole));
    },
    take(now) { this.now = now; },
    setDraft(draft) { this.draft = draft; },
    put(key, mm) {
      const draft = { low: this.now.low, high: this.now.high, ...this.draft };
      draft[key] = Math.round(Math.min(this.setup.stroke, Math.max(0, mm)) * 10) / 10;
      this.draft = draft;
    },
    begin(key, event) {
      if (!this.setup.controls) return;
      event.target.setPointerCapture(event.pointerId);
      const from = this.draft?.[key] ?? this.now[key];
      this.drag = { key, from, at: event.clientX, before: this.draft };
    },
    move(event) {
      if (this.drag) this.put(this.drag.key, this.drag.from + (event.clientX - this.drag.at) / this.k);
    },
    end() {
      const moved = this.drag && this.draft;
      this.drag = null;
      if (moved) this.$emit("draft", this.draft);
    },
    cancel() {
      if (this.drag) this.draft = this.drag.before;
      this.drag = null;
    },
    keyed(key, event) {
      const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
      if (!way || !this.setup.controls) return;
      event.preventDefault();
      event.stopPropagation();
      const from = this.draft?.[key] ?? this.now[key];
      this.put(key, from + way * (event.shiftKey ? 10 : event.altKey ? 0.1 : 1));
      clearTimeout(this.waits);
      this.waits = setTimeout(() => this.$emit("draft", this.draft), SETTLED_MS);
    },
  },
};
