/* Beats to seconds: the tempos of a performance one after the other, each from the beat at which it takes hold. */
"use strict";

class TempoMap {
  constructor(spans = []) {
    this.spans = spans; // { beat, seconds, pace }: from this quarter and second on, so many quarters a minute
  }

  /** The same map from a quarter on at another pace; what lies before stays. */
  paced(beat, pace) {
    const last = this.spans[this.spans.length - 1];
    if (last && last.pace === pace) return this;
    return new TempoMap([...this.spans, { beat, seconds: last ? this.secondsAt(beat) : 0, pace }]);
  }

  /** When a quarter comes. */
  secondsAt(beat) {
    const span = this.spanOf((one) => one.beat <= beat);
    return span.seconds + ((beat - span.beat) * 60) / span.pace;
  }

  /** Which quarter it is at a moment. */
  beatAt(seconds) {
    const span = this.spanOf((one) => one.seconds <= seconds);
    return span.beat + ((seconds - span.seconds) * span.pace) / 60;
  }

  /** The last span for which something holds, else the first. */
  spanOf(holds) {
    let at = this.spans.length - 1;
    while (at > 0 && !holds(this.spans[at])) at--;
    return this.spans[at];
  }

  /** The map without the spans that ended before a quarter. */
  since(beat) {
    const first = this.spans.indexOf(this.spanOf((one) => one.beat <= beat));
    return first > 0 ? new TempoMap(this.spans.slice(first)) : this;
  }
}
