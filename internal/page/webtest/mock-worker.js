// Stands in for the engine in tests of the screens: replays a recording that the
// address names (shot=NAME), and answers calls with an invented singer's numbers.
// It is served in the place of worker.js by the program that takes the pictures, and
// is no part of the page.

const ready = (async () => {
  const [{ recordings }, line, sung, narrowLine, narrowSung, options, degrees] = await Promise.all([
    import("./recordings.mjs"),
    ...["line.svg", "sung.svg", "narrow-line.svg", "narrow-sung.svg"].map((f) => fetch(f).then((r) => r.text())),
    ...["options.json", "degrees.json"].map((f) => fetch(f).then((r) => r.json())),
  ]);
  postMessage({ is: "ready", version: "test", home: "browser", known: { singer: "Anna", notes: [], recording: "ok", why: "" } });
  return { all: recordings(line, sung), narrow: recordings(narrowLine, narrowSung), line, narrowLine, options, degrees };
})();

let played = null;

const calls = {
  standing: () => ({ singer: "Anna", answers: 840, stage: "Stage 4 of 11: fa and ti", lines: ["Stage 4 of 11: fa and ti.", "24 due today."], profile: { voice: null }, course: { name: "Degrees by ear" } }),
  options: ({ command }, given) => {
    if (!given.options[command]) throw new Error(`no options of ${command}`);
    return { options: given.options[command] };
  },
  progress: (_, given) => ({
    by_degree: given.degrees.by_degree,
    said: {
      next: [{ text: "Today's practice", address: "today" }, { text: "do – la up (50 % of 10 right)", address: "sing?from=do&degrees=la" }, { text: "la (66 % of 35 right)", address: "sing?degrees=la" }],
      intro: ["Anna: 840 answers, 2026-09-20 to 2026-10-23, 741 right: 88 % (85–91).", "A simulated singer gave them, not you."],
      weak: ["do – la up: 50 % of 10, the others 89 %, lower by 3–74", "la: 66 % of 35, the others 89 %, lower by 4–49"],
      change_heading: "What changed", changes: ["Nothing that the data shows."],
      sections: [{ heading: "Degrees", note: "", field: "degree", head: ["degree", "answers", "right", "cents", "spread", "time"], rows: given.degrees.by_degree.map((d, i) => [["do", "re", "mi", "fa", "sol", "la", "ti"][i], String(d.answers), `${Math.round(d.share * 100)} %`, String(Math.round(d.median_cents)), String(Math.round(d.sd_cents)), `${d.answer_s} s`]) }],
    },
  }),
  melody: ({ width }, given) => ({ title: "A melody in E♭ major, level 3", svg: width < 600 ? given.narrowLine : given.line, record: { seed: 7 }, text: "" }),
  key: () => ({ title: "A♭ major, 4 flats", record: {}, sections: [{ heading: "Degrees", head: ["degree", "note", "movable", "numbers", "Hz"], rows: [["1", "A♭3", "do", "1", "207.65"], ["2", "B♭3", "re", "2", "233.08"], ["3", "C4", "mi", "3", "261.63"], ["6", "F4", "la", "6", "349.23"]] }] }),
  chords: () => ({ title: "Chords of A♭ major", record: {}, sections: [{ heading: "Triads", head: ["numeral", "chord", "notes"], rows: [["I", "A♭", "A♭ C E♭"], ["IV", "D♭", "D♭ F A♭"], ["V7", "E♭7", "E♭ G B♭ D♭"]] }] }),
  play: () => null,
  export: () => ({ name: "singback-Anna-2026-11-28.csv", text: "singer,session\nAnna,1\n" }),
  import: ({ text }) => ({ read: text.split("\n").length - 1, added: 1 }),
  course: () => ({ course: { name: "Degrees by ear" } }),
  singer: () => ({}),
  forget: () => null,
};

onmessage = async ({ data: m }) => {
  const given = await ready;
  if (m.do === "call") {
    try {
      postMessage({ is: "reply", id: m.id, value: calls[m.what](m.with, given) });
    } catch (e) {
      postMessage({ is: "reply", id: m.id, error: e.message });
    }
  }
  if (m.do === "drill") {
    const [kind, query] = m.address.split("?");
    const shot = new URLSearchParams(query).get("shot") ?? "end";
    if (shot === "crash") setTimeout(() => { throw new Error("out of memory"); });
    played = (m.width < 600 ? given.narrow : given.all)[`${kind}-${shot}`];
    for (const message of played ?? []) postMessage(message);
  }
  if (m.do === "answer") postMessage({ is: "asked", id: m.id });
  if (m.do === "stop" && played) {
    played = null;
    postMessage({ is: "end", ok: true, text: "", lines: [], kept: "" });
  }
};
