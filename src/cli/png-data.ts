/** Small pictures as data: addresses, for embedding in SVG. sharp is loaded only here, when pictures are asked for. */
import type { ColourStamp } from '../report/svg/crops.js';
import type { GreyStamp } from '../report/svg/stamps.js';

/** PNG of a grey square as a data: address. */
export function greyPng({ side, pixels }: GreyStamp): Promise<string> {
  return squarePng(pixels, side, 1);
}

/** The same of a coloured one. */
export function colourPng({ side, pixels }: ColourStamp): Promise<string> {
  return squarePng(pixels, side, 3);
}

async function squarePng(pixels: Uint8Array, side: number, channels: 1 | 3): Promise<string> {
  const { default: sharp } = await import('sharp');
  const png = await sharp(pixels, { raw: { width: side, height: side, channels } })
    .png({ compressionLevel: 9 })
    .toBuffer();
  return `data:image/png;base64,${png.toString('base64')}`;
}
