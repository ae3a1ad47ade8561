/** PLIO_1: run lengths of integer masks (FITS Standard 4.0, §10.4.3, from memory; checked against cfitsio).
 *
 * A list of 16-bit words. Of an instruction the upper 4 bits are the code, the lower 12 the operand; a current value (1 at first)
 * is changed by some and written by others.
 */
import { TileFault } from './fault.js';

/** Length word ≤ 0 of the newer header: the length follows in two words. */
const OLD_HEADER_WORDS = 3;
const LONGEST_LIST = 2 ** 30;

/**
 * Unpacks the list of big-endian words in `bytes` into the whole of `out`; pixels behind the last instruction are 0.
 * @throws TileFault when the list is damaged
 */
export function decodePlio(bytes: Uint8Array, out: Int32Array): void {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const words = bytes.length >> 1;
  if (words < OLD_HEADER_WORDS) throw new TileFault('its list of runs is too short');
  let length = view.getInt16(4);
  let at = OLD_HEADER_WORDS;
  if (length <= 0) {
    if (words < 5) throw new TileFault('its list of runs is too short');
    length = view.getInt16(8) * 32768 + view.getInt16(6);
    at = view.getInt16(2);
  }
  if (length > words || length > LONGEST_LIST || at < OLD_HEADER_WORDS) {
    throw new TileFault('its list of runs is longer than its bytes');
  }
  out.fill(0);
  let x = 0;
  let value = 1;
  for (; at < length && x < out.length; at++) {
    const word = view.getUint16(at * 2);
    const operand = word & 0xfff;
    switch (word >> 12) {
      case 0: // zeros
        x += operand;
        break;
      case 1: // set the value: this operand and one more word
        if (++at >= length) throw new TileFault('its list of runs ends early');
        value = view.getInt16(at * 2) * 4096 + operand;
        break;
      case 2: // raise the value
        value += operand;
        break;
      case 3: // lower the value
        value -= operand;
        break;
      case 4: // a run of the value
        out.fill(value, x, x + operand);
        x += operand;
        break;
      case 5: // zeros, the last pixel of the run has the value
        x += operand;
        if (operand > 0 && x <= out.length) out[x - 1] = value;
        break;
      case 6: // raise the value, write one pixel
        value += operand;
        out[x++] = value;
        break;
      case 7: // lower the value, write one pixel
        value -= operand;
        out[x++] = value;
        break;
      default:
        throw new TileFault('its list of runs has an instruction that does not exist');
    }
  }
}
