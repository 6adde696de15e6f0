/* What is played, as dots on the grid: on the row of its limb, left of its head where it came early, right where late. */
"use strict";

const DOT = 0.55; // radius, in millimetres of the drawing
const ABOVE = 1.55; // over the row
const MM_A_SECOND = 50; // 20 ms are a millimetre: most of a head's half
const FARTHEST_MM = 4;
const STRAY_SECONDS = 0.15; // from every written stroke: it belongs to none
const STEADY = 24; // strokes of which the middle is what all limbs are late together

class Dots {
  constructor(lesson, view) {
    Object.assign(this, { lesson, view, late: [], taken: new Set() });
  }

  /** Nothing was played yet. */
  clear() {
    this.late = [];
    this.taken.clear();
    document.querySelectorAll(".dot").forEach((dot) => dot.remove());
  }

  /** What all limbs are late together, where the device's delay is not known, in seconds. */
  get middle() {
    return median(this.late);
  }

  /** A stroke on a part, in seconds of the player: draw it beside the written one it is nearest to, and return its dot. */
  play(part, seconds, strokes, delay) {
    const own = strokes.filter(({ voice, cell, isPickup }) => voice.part === part && voice.limb && cell.score && !cell.leadIn && !isPickup);
    const shift = delay ?? this.middle;
    const gap = (stroke) => seconds - shift - stroke.nominal - (this.lesson.feel.placement[stroke.voice.limb] || 0);
    const nearest = own.length ? own.reduce((best, one) => (Math.abs(gap(one)) < Math.abs(gap(best)) ? one : best)) : null;
    if (!nearest || Math.abs(gap(nearest)) > STRAY_SECONDS || this.taken.has(nearest.id)) return null;
    this.taken.add(nearest.id);
    const late = gap(nearest);
    this.late = [...this.late.slice(1 - STEADY), late + shift];
    return this.draw(nearest, late);
  }

  /** A dot on the grid of the bar. */
  draw({ cell, voice, column }, late) {
    const card = this.view.cards[cell.score.card];
    const place = card.columns[column];
    if (!place) return null;
    const { left, width } = this.lesson.picture;
    const x = left + width * place[0] + clamp(late * MM_A_SECOND, -FARTHEST_MM, FARTHEST_MM);
    const y = TOP + ROW * this.lesson.rows.indexOf(voice.limb) - ABOVE;
    const dot = drawn("circle", { class: "dot", cx: short(x), cy: short(y), r: DOT });
    card.grid.append(dot);
    return dot;
  }

  /** A bar begins: what was played in it last time goes. */
  wipe(card) {
    this.view.cards[card].grid.querySelectorAll(".dot").forEach((dot) => dot.remove());
  }
}
