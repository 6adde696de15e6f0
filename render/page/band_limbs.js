/* Who of the band plays: switches beside those of the limbs, and the steps that bring the band along or leave it home. */
"use strict";

widen(Limbs, "name", function (name) {
  name();
  for (const part of this.lesson.band.parts) {
    const label = part[0].toUpperCase() + part.slice(1);
    this.switches.push({ limb: part, label, plays: "", name: part });
    const row = this.rows.find(({ dataset }) => dataset.limb === part);
    row.hidden = false;
    row.dataset.name = part;
  }
});

widen(Limbs, "stateOf", function (stateOf, name) {
  const voice = this.lesson.band.voices.find(({ part }) => part === name);
  if (!voice) return stateOf(name);
  const isSilent = isAbsent(name, this.settings) || !sounds(voice, this.settings);
  return isSilent ? "off" : this.settings.limbs[name] || "on";
});

/** A choice by hand leaves the step: who of the band sounds goes on sounding. */
widen(Limbs, "set", function (set, name, state) {
  const sounding = this.lesson.band.parts.filter((part) => this.stateOf(part) !== "off");
  for (const part of sounding) this.settings.limbs[part] ??= "on";
  set(name, state);
});

/** A step says whether the band is there; a track of the lesson has its own way through the form. */
widen(Steps, "take", function (take, number) {
  const { steps, band } = this.lesson;
  const own = band.ofTracks[number - (steps.length - band.ofTracks.length)];
  this.transport.change(() => Object.assign(this.settings, { absent: steps[number].absent || [], sheet: own || 0 }));
  take(number);
});
