/** A small encoder of lossless JPEG (ITU-T T.81 Annex H, process SOF3), for test files only: predictor 1, 16 bits,
 * one Huffman table in which all 17 difference categories have codes of 5 bits.
 */

/** The JPEG stream of `width × height` pixels of `components` interleaved samples. */
export function encodeLosslessJpeg(
  samples: Uint16Array,
  width: number,
  height: number,
  components: number,
): Uint8Array {
  const out: number[] = [];
  const u16 = (value: number) => out.push(value >> 8, value & 255);
  const marker = (code: number) => out.push(0xff, code);
  const list = Array.from({ length: components }, (_, i) => i + 1);
  marker(0xd8);
  marker(0xc3);
  u16(8 + 3 * components);
  out.push(16);
  u16(height);
  u16(width);
  out.push(components);
  for (const id of list) out.push(id, 0x11, 0);
  marker(0xc4);
  u16(2 + 1 + 16 + 17);
  // Table 0: 17 codes of length 5, for the categories 0 … 16 in order; the all-ones code stays free.
  out.push(0, 0, 0, 0, 0, 17, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0);
  for (let category = 0; category <= 16; category++) out.push(category);
  marker(0xda);
  u16(6 + 2 * components);
  out.push(components);
  for (const id of list) out.push(id, 0);
  out.push(1, 0, 0);

  let pending = 0;
  let count = 0;
  const put = (value: number, bits: number) => {
    for (let b = bits - 1; b >= 0; b--) {
      pending = (pending << 1) | ((value >> b) & 1);
      if (++count < 8) continue;
      out.push(pending);
      if (pending === 0xff) out.push(0);
      pending = 0;
      count = 0;
    }
  };
  const perRow = width * components;
  for (let y = 0; y < height; y++) {
    for (let i = 0; i < perRow; i++) {
      const at = y * perRow + i;
      let predicted: number;
      if (i >= components) predicted = samples[at - components] as number;
      else predicted = y === 0 ? 1 << 15 : (samples[at - perRow] as number);
      // Differences are modulo 65536 (H.1.2.1); −32768 has category 16 and no further bits.
      const difference = (((samples[at] as number) - predicted) << 16) >> 16;
      const size = Math.abs(difference);
      const category = size === 0 ? 0 : 32 - Math.clz32(size);
      put(category, 5);
      if (category === 0 || category === 16) continue;
      put(difference < 0 ? difference + (1 << category) - 1 : difference, category);
    }
  }
  while (count !== 0) put(1, 1);
  marker(0xd9);
  return Uint8Array.from(out);
}
