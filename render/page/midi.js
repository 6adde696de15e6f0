/* An electronic kit by cable: Web MIDI (W3C), note-ons alone. Clock, sysex, pedals and hung notes are passed over. */
"use strict";

const NOTE_ON = 0x90;
const NO_MIDI = "This browser has no MIDI. Chrome, Edge, Opera and Firefox have, on computers and on Android; on an iPhone or iPad no browser has.";

class Cable {
  /** `play` is told { milliseconds, key, velocity, channel } of every stroke, `say` what is the matter, "" where nothing. */
  constructor(play, say) {
    Object.assign(this, { play, say, kind: "cable", access: null, inputs: new Map() });
  }

  /** Ask the browser for the kit; call it from a press. Whether it may be used. */
  async open() {
    if (!navigator.requestMIDIAccess) {
      this.say(NO_MIDI);
      return false;
    }
    try {
      this.access = await navigator.requestMIDIAccess();
    } catch (error) {
      this.say(midiTrouble(error));
      return false;
    }
    this.access.onstatechange = () => this.take();
    this.take();
    return true;
  }

  /** Listen to every kit that is there, and say if one has gone. */
  take() {
    const now = new Map([...this.access.inputs.values()].filter(({ state }) => state !== "disconnected").map((input) => [input.id, input]));
    const gone = [...this.inputs.keys()].some((id) => !now.has(id));
    for (const input of now.values()) input.onmidimessage = (event) => this.message(event);
    this.inputs = now;
    if (now.size) this.say(`Listening to ${listed([...now.values()].map(({ name }) => name || "the kit"))}.`);
    else this.say(gone ? "The kit is unplugged. Plug it in again, and it is heard again." : "No kit is found. Switch it on and plug it in: it is taken as soon as it is there.");
  }

  /** One message: a note-on is a stroke; a note-on of velocity 0 ends a note (MIDI 1.0). */
  message({ data, timeStamp }) {
    if (!data || data.length < 3 || (data[0] & 0xf0) !== NOTE_ON || !data[2]) return;
    this.play({ milliseconds: timeStamp || performance.now(), key: data[1], velocity: data[2], channel: data[0] & 0x0f });
  }

  /** Let go of it. */
  close() {
    for (const input of this.inputs.values()) input.onmidimessage = null;
    if (this.access) this.access.onstatechange = null;
    this.access = null;
    this.inputs = new Map();
  }
}

/** Why the browser gives no MIDI. */
function midiTrouble({ name }) {
  if (name === "NotAllowedError" || name === "SecurityError") {
    return "The browser was told not to use MIDI. Allow it for this page, by the sign beside the address, and press again.";
  }
  return "The browser finds no MIDI on this device. Plug the kit in, open the page again, and press again.";
}
