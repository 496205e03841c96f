// Hands on the sound of two channels in blocks of 1024 frames. A block is numbered and says
// at which frame of the device it begins, so that one that is lost, and sound that the
// browser itself left out, are known by what is missing. Layout, little endian: u32 number,
// u32 frames, f64 first frame, then left and right as f32.
const SIZE = 1024, HEAD = 16;

class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.number = 0;
    this.begin(0);
    this.port.onmessage = () => { this.hand(); this.port.postMessage("end"); this.over = true; };
  }
  begin(first) {
    this.buffer = new ArrayBuffer(HEAD + 8 * SIZE);
    this.channels = [new Float32Array(this.buffer, HEAD, SIZE), new Float32Array(this.buffer, HEAD + 4 * SIZE, SIZE)];
    this.first = first;
    this.filled = 0;
  }
  hand() {
    if (!this.filled) return;
    let out = this.buffer;
    if (this.filled < SIZE) { // the right channel follows the left at once
      out = new ArrayBuffer(HEAD + 8 * this.filled);
      this.channels.forEach((c, i) => new Float32Array(out, HEAD + 4 * i * this.filled).set(c.subarray(0, this.filled)));
    }
    const head = new DataView(out);
    head.setUint32(0, this.number++, true);
    head.setUint32(4, this.filled, true);
    head.setFloat64(8, this.first, true);
    this.port.postMessage(out, [out]);
    this.begin(this.first + this.filled);
  }
  process([input]) {
    if (this.over) return false;
    if (!input.length) return true; // nothing arrives: the next block says from where on
    if (currentFrame !== this.first + this.filled) { this.hand(); this.begin(currentFrame); }
    const n = input[0].length; // divides SIZE
    this.channels.forEach((c, i) => c.set(input[Math.min(i, input.length - 1)], this.filled));
    this.filled += n;
    if (this.filled + n > SIZE) this.hand();
    return true;
  }
}
registerProcessor("ear", Ear);
