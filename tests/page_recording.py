"""What a lesson page sends to the loudspeaker, recorded at the output of a real AudioContext in Chromium.

The recorder is an AudioWorklet: it runs beside the output on the audio thread, so a page that is held up cannot delay
it (W3C Web Audio API 1.1, AudioWorklet). The page's policy allows no such thing, so it is served without its policy.
"""

import base64
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from page_browser import Opened
from playwright.sync_api import Browser

ADDRESS = "http://localhost/lesson.html"
RECORDER = """registerProcessor("recorder", class extends AudioWorkletProcessor {
  blocks = [];
  process([input]) {
    if (input.length) this.blocks.push([currentFrame, ...input.map((side) => side.slice())]);
    if (this.blocks.length === 32) this.port.postMessage(this.blocks.splice(0)); // a busy page cannot take 344 a second
    return true;
  }
});"""
LISTEN = """async (code) => {
    transport.open();
    const { context } = transport;
    await context.audioWorklet.addModule(URL.createObjectURL(new Blob([code], { type: "text/javascript" })));
    const recorder = new AudioWorkletNode(context, "recorder", { numberOfInputs: 1, channelCount: 2, channelCountMode: "explicit" });
    globalThis.blocks = [];
    recorder.port.onmessage = ({ data }) => blocks.push(...data);
    globalThis.leftOut = [];
    const hand = transport.hand;
    transport.hand = function (stroke) {
        hand.call(this, stroke);
        if (stroke.dropped) leftOut.push({ part: stroke.voice.part, seconds: stroke.seconds });
    };
    const connect = AudioNode.prototype.connect;
    AudioNode.prototype.connect = function (to, ...others) {
        if (to === context.destination) connect.call(this, recorder);
        return connect.call(this, to, ...others);
    };
}"""
STALL = """([every, long]) => setInterval(() => {
    const end = performance.now() + long;
    while (performance.now() < end);
}, every)"""
READ = """() => {
    const bytes = (samples) => {
        const all = new Uint8Array(samples.buffer);
        let text = "";
        for (let at = 0; at < all.length; at += 32768) text += String.fromCharCode(...all.subarray(at, at + 32768));
        return btoa(text);
    };
    const [first] = blocks[0], [last, side] = blocks[blocks.length - 1];
    return [first, ...[1, 2].map((number) => {
        const whole = new Float32Array(last + side.length - first);
        for (const block of blocks) whole.set(block[number] ?? block[1], block[0] - first);
        return bytes(whole);
    })];
}"""


@contextmanager
def recording(browser: Browser, html: str, throttled: float = 1, stall_ms: float = 0) -> Iterator[Opened]:
    """A page whose output is recorded, on a slow processor, held up every two seconds."""
    screen = browser.new_context(bypass_csp=True, viewport={"width": 1280, "height": 800})
    found = Opened(screen.new_page())
    found.page.on("pageerror", lambda error: found.errors.append(str(error)))
    found.page.route(ADDRESS, lambda route: route.fulfill(body=html, content_type="text/html"))
    found.page.goto(ADDRESS)
    found.page.wait_for_selector("body.ready")
    found.page.evaluate(LISTEN, RECORDER)
    session = screen.new_cdp_session(found.page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": throttled})
    if stall_ms:
        found.page.evaluate(STALL, [2000, stall_ms])
    yield found
    screen.close()


def heard(found: Opened) -> tuple[np.ndarray, list[dict[str, Any]]]:
    """The recording, from the performance's second 0 on, and the strokes that the page says it handed over."""
    strokes = found.page.evaluate("""() => transport.strokes.map(({ id, seconds, when, heard, dropped, voice, key, velocity }) => (
        { id, seconds, when, heard, dropped, part: voice.part, limb: voice.limb, key, velocity }))""")
    origin = found.page.evaluate("Math.round(transport.sound.origin * RATE)")
    first, *sides = found.page.evaluate(READ)
    sound = np.stack([np.frombuffer(base64.b64decode(side), "<f4") for side in sides], axis=1)
    if origin < first:  # nothing reaches the recorder before the first hit
        sound = np.concatenate([np.zeros((first - origin, 2), "<f4"), sound])
    return sound[max(origin - first, 0) :], strokes
