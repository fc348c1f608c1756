// Practice page: plays one prepared sound per tempo and shows where it is in the music.
// Times are seconds of the chosen sound; what is heard and what is shown run on one audio clock.
"use strict";
(() => {
  const piece = JSON.parse(document.getElementById("piece").textContent);
  const $ = (id) => document.getElementById(id);
  const context = new (window.AudioContext || window.webkitAudioContext)();
  const volume = context.createGain(), clickGain = context.createGain();
  clickGain.connect(volume); volume.connect(context.destination);
  const decoded = new Map();
  const systems = [...document.querySelectorAll(".system")];
  let running = null, place = -1, marked = null, tuning = null;

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
  const track = () => piece.tracks[+document.querySelector("input[name=tempo]:checked").value];

  async function sounds(chosen) {
    if (!decoded.has(chosen)) {
      const music = await context.decodeAudioData(bytes($("sound-" + chosen.index).textContent.trim()));
      decoded.set(chosen, { music, clicks: clickTrack(chosen, music.duration) });
    }
    return decoded.get(chosen);
  }
  function tick(data, at, first) {
    const hz = first ? 1760 : 1175, rate = context.sampleRate, start = Math.round(at * rate);
    for (let n = 0; n < rate * 0.025 && start + n < data.length; n++)
      data[start + n] += 0.5 * Math.cos(2 * Math.PI * hz * n / rate) * Math.exp(-n / rate / 0.005);
  }
  function clickTrack(chosen, seconds) {
    const buffer = context.createBuffer(1, Math.ceil(seconds * context.sampleRate), context.sampleRate);
    for (const [at, first] of chosen.clicks) tick(buffer.getChannelData(0), at, first);
    return buffer;
  }
  function countIn(beats, seconds) {
    const rate = context.sampleRate, buffer = context.createBuffer(1, Math.ceil((beats * seconds + 0.1) * rate), rate);
    for (let n = 0; n < beats; n++) tick(buffer.getChannelData(0), n * seconds, n % piece.beats_in_bar === 0);
    return buffer;
  }
  function source(buffer, output, region) {
    const node = context.createBufferSource();
    node.buffer = buffer; node.connect(output);
    if (region) { node.loop = true; node.loopStart = region.from; node.loopEnd = region.to; }
    return node;
  }
  function region(chosen) {
    if (!$("loop").checked) return null;
    const a = +$("from").value, b = Math.max(a, +$("to").value);
    return { from: chosen.bars[a][1], to: chosen.bars[b][2] };
  }

  async function start() {
    await context.resume();
    stopTuning();
    const chosen = track(), sound = await sounds(chosen), loop = region(chosen);
    if (loop) place = loop.from;
    else if (place < 0 || place >= chosen.end - 0.05) place = chosen.bars[0][1];
    const beat = 60 / chosen.bpm, beats = piece.count_in, when = context.currentTime + 0.12;
    const count = source(countIn(beats, beat), volume), begin = when + beats * beat;
    const music = source(sound.music, volume, loop), clicks = source(sound.clicks, clickGain, loop);
    count.start(when); music.start(begin, place); clicks.start(begin, place);
    running = { chosen, loop, begin, place, nodes: [count, music, clicks] };
    if (!loop) music.onended = () => { if (running && running.nodes[1] === music) { place = chosen.end; stop(); } };
    $("play").textContent = piece.texts.pause; $("play").setAttribute("aria-pressed", "true");
    requestAnimationFrame(show);
  }
  function stop() {
    if (!running) return;
    place = Math.max(position(), running.chosen.bars[0][1]);
    const nodes = running.nodes; running = null;
    for (const node of nodes) { try { node.onended = null; node.stop(); } catch (_) { /* not started yet */ } }
    $("play").textContent = piece.texts.start; $("play").setAttribute("aria-pressed", "false");
    $("where").textContent = "";
  }
  // What is heard now: the audio clock less the time the sound takes to reach the speaker.
  function position() {
    const late = context.outputLatency || context.baseLatency || 0;
    const passed = context.currentTime - late - running.begin;
    if (passed < 0) return running.place + passed;
    let at = running.place + passed;
    const loop = running.loop;
    if (loop && at > loop.to) at = loop.from + (at - loop.from) % (loop.to - loop.from);
    return at;
  }

  let places = [];
  function measure() {
    places = systems.map((system) => {
      const box = system.getBoundingClientRect(), found = new Map();
      for (const note of system.querySelectorAll("g.note, g.chord")) {
        const head = (note.querySelector(".notehead") || note).getBoundingClientRect();
        if (note.id) found.set(note.id, (head.left + head.width / 2 - box.left) / box.width);
      }
      return found;
    });
  }
  function find(id) {
    for (let n = 0; n < places.length; n++) if (places[n].has(id)) return [n, places[n].get(id)];
    return null;
  }
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  function show() {
    if (!running) return;
    const at = position(), notes = running.chosen.notes;
    if (context.currentTime < running.begin) $("where").textContent = piece.texts.count_in_now;
    let low = 0, high = notes.length;
    while (low < high) { const mid = (low + high) >> 1; if (notes[mid][0] <= at + 1e-4) low = mid + 1; else high = mid; }
    const note = notes[Math.max(0, low - 1)], next = notes[low];
    const here = find(note[1]), there = next ? find(next[1]) : null;
    if (here) {
      let x = here[1];
      if (!calm.matches && there && there[0] === here[0] && there[1] > x && next[0] > note[0])
        x += (there[1] - x) * Math.min(1, Math.max(0, (at - note[0]) / (next[0] - note[0])));
      put(here[0], x);
    }
    if (context.currentTime >= running.begin) mark(note);
    requestAnimationFrame(show);
  }
  let cursorIn = -1;
  function put(n, x) {
    const cursor = $("cursor");
    if (cursorIn !== n) {
      systems[n].append(cursor); cursorIn = n; cursor.hidden = false;
      const box = systems[n].getBoundingClientRect();
      if (box.bottom > window.innerHeight || box.top < 90) systems[n].scrollIntoView({ block: "center", behavior: calm.matches ? "auto" : "smooth" });
    }
    cursor.style.left = (x * 100).toFixed(3) + "%";
    const music = systems[n].parentElement, wide = systems[n].offsetWidth, seen = music.clientWidth;
    if (wide > seen) {
      const at = x * wide - music.scrollLeft;
      if (at < 0 || at > seen * 0.75) music.scrollLeft = x * wide - seen * 0.2;
    }
  }
  function mark(note) {
    if (marked === note) return;
    for (const old of document.querySelectorAll("g.now")) old.classList.remove("now");
    marked = note;
    const head = document.getElementById(note[1]);
    if (head) head.classList.add("now");
    $("where").textContent = piece.texts.bar_now + " " + note[2];
    document.dispatchEvent(new CustomEvent("note", { detail: note }));
  }

  function stopTuning() {
    if (tuning) { tuning.stop(); tuning = null; $("tune").setAttribute("aria-pressed", "false"); }
  }
  function tune() {
    if (tuning) return stopTuning();
    stop(); context.resume();
    const waves = [0, 1, 0.45, 0.25, 0.12, 0.06];
    tuning = context.createOscillator();
    tuning.setPeriodicWave(context.createPeriodicWave(new Float32Array(waves.length), new Float32Array(waves)));
    tuning.frequency.value = piece.tuning_hz;
    const soft = context.createGain(); soft.gain.value = 0.25;
    tuning.connect(soft); soft.connect(volume); tuning.start();
    $("tune").setAttribute("aria-pressed", "true");
  }

  const setVolume = () => { volume.gain.value = Math.pow(+$("volume").value / 100, 2); };
  const setClicks = () => { clickGain.gain.value = $("clicks").checked ? 0.5 : 0; };
  $("volume").addEventListener("input", setVolume);
  $("clicks").addEventListener("change", setClicks);
  $("play").addEventListener("click", () => (running ? stop() : start()));
  $("tune").addEventListener("click", tune);
  for (const id of ["loop", "from", "to"]) $(id).addEventListener("change", () => { const was = running; stop(); if (was) start(); });
  for (const radio of document.querySelectorAll("input[name=tempo]"))
    radio.addEventListener("change", () => {
      const before = running ? running.chosen : null;
      const bar = before ? before.bars.findIndex((b) => b[2] > position()) : -1;
      stop(); place = bar >= 0 ? track().bars[bar][1] : -1;
      if (before) start();
    });
  $("from").addEventListener("change", () => { if (+$("to").value < +$("from").value) $("to").value = $("from").value; });
  window.addEventListener("resize", measure);
  setVolume(); setClicks(); measure(); put(0, find(track().notes[0][1]) ? find(track().notes[0][1])[1] : 0);
  window.practice = { context, volume, position: () => (running ? position() : place), running: () => running !== null };
})();
