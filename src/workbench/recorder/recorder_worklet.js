"use strict";
// In the thread of the sound: gathers what the microphone gives into blocks of 16-bit samples and hands them on, with
// how loud they are. It decides nothing.
const block = 2048;

class Listener extends AudioWorkletProcessor {
  constructor() {
    super();
    this.begin();
    this.port.onmessage = (event) => { this.out = event.ports[0]; };
  }

  begin() {
    this.samples = new Int16Array(block);
    this.filled = this.peak = this.power = this.clipped = 0;
  }

  process(inputs) {
    const heard = inputs[0][0];
    if (!heard || !this.out) return true;
    for (let i = 0; i < heard.length; ++i) {
      const value = heard[i], size = Math.abs(value);
      if (size > this.peak) this.peak = size;
      if (size >= 0.9995) ++this.clipped;
      this.power += value * value;
      this.samples[this.filled++] = Math.max(-32768, Math.min(32767, Math.round(32768 * value)));
      if (this.filled === block) {
        this.out.postMessage({ samples: this.samples, peak: this.peak, power: this.power / block, clipped: this.clipped }, [this.samples.buffer]);
        this.begin();
      }
    }
    return true;
  }
}

registerProcessor("listener", Listener);
