"""Electronic kits that are not there: an input put into the page before its own scripts, as Web MIDI would show it."""

FAKE = """(() => {
    const input = { id: "1", name: "a kit", state: "connected", onmidimessage: null };
    const access = { inputs: new Map([["1", input]]), onstatechange: null };
    globalThis.kit = {
        input,
        access,
        send: (data, timeStamp = performance.now()) => input.onmidimessage && input.onmidimessage({ data: Uint8Array.from(data), timeStamp }),
        pull: () => { access.inputs.delete("1"); input.state = "disconnected"; access.onstatechange && access.onstatechange({}); },
        plug: () => { access.inputs.set("1", input); input.state = "connected"; access.onstatechange && access.onstatechange({}); },
    };
    navigator.requestMIDIAccess = async () => access;
})();"""

# Strike along with the page: every written stroke of some parts, so many milliseconds late, from a timer of its own.
ALONG = """({ parts, late, keys, skip, spread, seed }) => {
    globalThis.struck = [];
    const sent = new Set();
    const clock = new HeardClock();
    let state = seed;
    const random = () => ((state = (state * 1103515245 + 12345) % 2147483648) / 2147483648);
    globalThis.along = setInterval(() => {
        if (!transport.playing) return;
        clock.read(transport.context);
        const now = clock.at(performance.now());
        for (const stroke of transport.strokes) {
            const { voice, cell, id } = stroke;
            if (!cell.score || !parts.includes(voice.part) || sent.has(id)) continue;
            const nominal = stroke.nominal + transport.sound.origin + (lesson.feel.placement[voice.limb] || 0);
            const due = nominal + (late[voice.limb] ?? late.all ?? 0) / 1000 + (random() + random() - 1) * spread / 1000;
            if (due > now + 0.03) continue;
            sent.add(id);
            if (skip && skip.some(([number, onset]) => lesson.numbers[cell.score.card] === number && stroke.onset === onset)) continue;
            const velocity = 90;
            const timeStamp = (due - clock.at(performance.now()) + performance.now() / 1000) * 1000;
            struck.push({ id, part: voice.part });
            kit.send([0x99, keys[voice.part], velocity], timeStamp);
        }
    }, 10);
}"""

KEYS = {"ride": 51, "snare": 38, "bass drum": 36, "hi-hat": 44}
EVERYBODY = {"parts": list(KEYS), "late": {}, "keys": KEYS, "skip": None, "spread": 0, "seed": 1}
