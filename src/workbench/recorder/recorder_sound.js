// The microphone as it is: nothing that the phone does to speech may be done to it.
//
//   microphone -> worklet (a thread of its own) -> writer

const asked = { autoGainControl: false, noiseSuppression: false, echoCancellation: false, channelCount: 1 };
const plainWords = { autoGainControl: "automatic gain", noiseSuppression: "noise suppression", echoCancellation: "echo cancellation" };

// What the phone does all the same; where it does not say, nothing can be told.
function notGranted(granted) {
  return Object.keys(plainWords).filter(function (key) { return granted[key] === true; }).map(function (key) { return plainWords[key]; });
}

const sound = {
  context: null, stream: null, track: null, granted: {}, running: false, pieces: 0,
  onchange: function () {},      // told when the sound stops or goes on: a sentence, or ""

  async open() {
    if (!navigator.mediaDevices || !window.AudioWorkletNode)
      throw new Error("This browser gives the microphone only to pages from an https address; open the page from one, or use another browser.");
    try {
      sound.stream = await navigator.mediaDevices.getUserMedia({ audio: asked });
    } catch (refused) {
      throw new Error(refused.name === "NotAllowedError" ? "The microphone was refused; allow it for this page in the browser's settings and try again."
        : "There is no microphone that can be used (" + refused.name + "); another app may have it.");
    }
    sound.track = sound.stream.getAudioTracks()[0];
    // All but what would tell this phone from any other.
    const { deviceId, groupId, ...granted } = sound.track.getSettings();
    sound.granted = granted;
    await sound.connect();
    sound.track.onmute = function () { sound.lost("the microphone was taken away, perhaps by a call"); };
    sound.track.onunmute = function () { sound.goOn(); };
    sound.track.onended = function () { sound.lost("the microphone was switched off"); };
    sound.context.onstatechange = function () {
      if (sound.context.state === "running") sound.goOn();
      else if (sound.context.state !== "closed") sound.lost("the phone stopped the sound");
    };
  },

  async connect() {
    // At the microphone's own rate, so that nothing is resampled; some browsers can't.
    let source;
    try {
      sound.context = new AudioContext(sound.granted.sampleRate ? { sampleRate: sound.granted.sampleRate } : {});
      source = sound.context.createMediaStreamSource(sound.stream);
    } catch (can_not) {
      sound.context = new AudioContext();
      source = sound.context.createMediaStreamSource(sound.stream);
    }
    await sound.context.resume();
    // A page opened from a file may not load its own Blobs here.
    const listens = sound.context.audioWorklet;
    await listens.addModule(inside("worklet")).catch(function () { return listens.addModule("data:text/javascript," + encodeURIComponent(byId("worklet").textContent)); });
    const listener = new AudioWorkletNode(sound.context, "listener", { channelCount: 1, channelCountMode: "explicit", channelInterpretation: "speakers" });
    const between = new MessageChannel();
    listener.port.postMessage(null, [between.port1]);
    await writer.ask("listen", {}, [between.port2]);
    // It gives silence; connected, it is asked for.
    source.connect(listener).connect(sound.context.destination);
  },

  // A new piece of sound; `why` there was none before.
  async begin(why) {
    sound.running = true;
    const latency = sound.granted.latency > 0 && sound.granted.latency < 0.3 ? sound.granted.latency : 0;
    await writer.ask("piece", { number: ++sound.pieces, rate: sound.context.sampleRate, latency: latency, time_s: clock.now(), why: why, granted: sound.granted });
  },

  async lost(why) {
    if (!sound.running) return;
    sound.running = false;
    sound.why = why;
    await writer.ask("endPiece");
    sound.onchange("No sound: " + why + ".");
  },

  async goOn() {
    if (sound.running || sound.why === undefined || sound.context.state !== "running" || sound.track.muted || sound.track.readyState !== "live") return;
    await sound.begin(sound.why);
    sound.onchange("");
  },

  // After whatever stopped it: the same microphone, or a new one.
  async again() {
    if (sound.track.readyState !== "live") {
      await sound.context.close();
      await sound.open();
    }
    if (sound.context.state !== "running") await sound.context.resume();
    await sound.goOn();
  },

  async close() {
    sound.running = false;
    sound.why = undefined;
    if (sound.track) sound.track.stop();
    if (sound.context && sound.context.state !== "closed") await sound.context.close();
  }
};

// How loud, over the last second or so, and what that means. -60 dB is what `gearhark check` calls too quiet.
const level = {
  blocks: [], clippedUntil: 0,
  reset() { level.blocks = []; level.clippedUntil = 0; },
  take(heard, now) {
    level.blocks.push(heard);
    if (level.blocks.length > 20) level.blocks.shift();
    if (heard.clipped) level.clippedUntil = now + 3;
  },
  db() {
    const mean = level.blocks.reduce(function (sum, one) { return sum + one.power; }, 0) / Math.max(1, level.blocks.length);
    return mean > 0 ? 10 * Math.log10(mean) : -120;
  },
  peakDb() { return 20 * Math.log10(Math.max(1e-6, ...level.blocks.map(function (one) { return one.peak; }))); },
  word(now) {
    if (level.blocks.length === 0) return "";
    if (now < level.clippedUntil || level.peakDb() > -1) return "too loud";
    return level.db() < -60 ? "too quiet" : "good";
  }
};
