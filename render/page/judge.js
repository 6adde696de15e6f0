/* The whole of it: a take laid on its sheet, matched, measured and put into words; the twin of grooves/takes/check.py. */
"use strict";

const FEWEST_STROKES = 8; // written strokes that a take must reach over
const SHORTEST_SECONDS = 4;
const DOUBTFUL = 0.85; // F under which other speeds are tried
const FITS = 0.5; // F under which strokes do not belong to what is written
const LINE_STROKES = 8; // that were played before a line is called another one
const MACHINE_MS = 3; // nobody plays so near to a track
const STRANGERS = 0.05; // share of strokes on parts that a track lacks, up to which a take may be the track itself
const ALL_OF_IT = 0.9; // F of a take with its track

/** Hold a take against its sheet: { reason, sentences, findings, alignment, match }; `reason` is why there is no verdict.
    `sounding` are strokes of the track itself, so that it is not taken for a student. */
function checkTake(take, asked, { delay = null, sounding = [] } = {}) {
  if (!take.strokes.some(({ part, mark }) => part && !mark) || !asked.bars.length) return unjudged(NOBODY);
  const sheet = swungAsPlayed(take, asked, alignTake(take, asked));
  const { alignment, lost } = laidTake(take, sheet);
  const kept = usableBars(take, sheet, alignment);
  const match = matchTake(take, sheet, alignment, lost);
  const reason = tooLittle(take, sheet, kept) || isTheTrack(take, sheet, alignment, sounding) || misfit(take, sheet, match, kept);
  if (reason) return { ...unjudged(reason), alignment, match };
  const findings = findIn(take, sheet, alignment, match, kept, delay);
  return { reason: "", sentences: sentencesOf(findings, sheet, take.unclear, delay !== null), findings, alignment, match };
}

const NOBODY = "No stroke of this lesson's parts is in this take.";

/** No verdict, and why. */
function unjudged(reason) {
  return { reason, sentences: [reason], findings: null };
}

/** Where a take lies, and the bars in which it is beats off: never most of them. */
function laidTake(take, sheet) {
  let alignment = alignTake(take, sheet);
  let lost = lostBeats(take, sheet, alignment);
  const off = offThroughout(lost, sheet);
  if (off) {
    alignment = { ...alignment, offset: alignment.offset + off };
    lost = lostBeats(take, sheet, alignment);
  }
  return { alignment, lost };
}

/** Why a take is too short to be judged. */
function tooLittle(take, { strokes }, kept) {
  const real = take.strokes.filter(({ part, mark }) => part && !mark).length;
  const bars = new Set(kept);
  const within = strokes.filter(({ bar }) => bars.has(bar)).length;
  const short = take.seconds < SHORTEST_SECONDS || within < FEWEST_STROKES || real < FEWEST_STROKES;
  return short ? "This take is too short to say anything: play at least four bars." : "";
}

/** Whether a take is the track played back: every part of it nearer than anybody plays, and nobody else. */
function isTheTrack(take, sheet, alignment, sounding) {
  const real = take.strokes.filter(({ part, mark }) => part && mark !== "double");
  const parts = sheet.parts.filter((part) => sounding.some((one) => one.part === part));
  const start = sheet.bars[0].seconds - 0.1;
  const others = real.filter(({ part, seconds }) => !parts.includes(part) && onTrack(seconds, alignment) > start).length;
  if (!parts.length || others > STRANGERS * real.length) return "";
  const rows = parts.map((part) => [sounding, real].map((all) => momentsOf(all.filter((one) => one.part === part))));
  if (!rows.every(([, played]) => played.length)) return "";
  const exact = refined(rows, { ...alignment, drift: 0 });
  const middles = [];
  for (const [written, struck] of rows) {
    const played = struck.map((moment) => onTrack(moment, exact));
    const gaps = nearestGaps(written, played).map((gap) => gap * 1000);
    if (agreement(written, played) < ALL_OF_IT || robustSpread(gaps) > MACHINE_MS) return "";
    middles.push(median(gaps));
  }
  const same = Math.max(...middles) - Math.min(...middles) < 4 * MACHINE_MS;
  return same ? "This is the track itself; record what you play while you hear it." : "";
}

/** Why what was played does not belong to this sheet, "" where it does. */
function misfit(take, sheet, match, kept) {
  const fits = sheet.parts.map((part) => partFit(take, sheet, match, part, kept)).filter(Boolean);
  const [hits, written, struck] = ["hits", "written", "struck"].map((key) => sumOf(fits.map((one) => one[key])));
  const share = (2 * hits) / Math.max(written + struck, 1);
  const speed = share < DOUBTFUL ? otherSpeed(take, sheet, share) : "";
  if (speed) return `This take runs at ${speed} the speed of the track; play along with it, or choose its track.`;
  if (share < FITS) return "This take does not fit the track: is it of another lesson, or another track?";
  const reads = new Set(sheet.strokes.filter(({ role }) => role === LINE).map(({ part }) => part));
  const wrong = [...fits].sort((one, other) => (one.part < other.part ? -1 : 1)).find((one) => {
    return reads.has(one.part) && one.struck >= LINE_STROKES && 2 * one.hits < FITS * (one.written + one.struck);
  });
  if (!wrong) return "";
  return (
    `The time fits, but of ${wrong.struck} strokes on the ${wrong.part} only ${wrong.hits} lie where one is written: ` +
    "is this another lesson's line?"
  );
}

/** Hits, written and played strokes of one part within the judged bars; null where it was not played. */
function partFit(take, sheet, match, part, kept) {
  const bars = new Set(kept);
  const all = [...sheet.strokes.keys()].filter((at) => sheet.strokes[at].part === part);
  const own = all.filter((at) => bars.has(sheet.strokes[at].bar));
  const hits = own.filter((at) => match.of[at] >= 0).length;
  const extras = match.extras.filter((at) => take.strokes[at].part === part).length;
  if ((take.unclear || []).includes(part) || !(hits + extras) || !own.length) return null;
  return { part, hits, written: own.length, struck: hits + roundEven(extras * (own.length / all.length)) };
}
