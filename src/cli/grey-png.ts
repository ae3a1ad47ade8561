/** Small grey pictures as data: addresses, for embedding in SVG. sharp is loaded only here, when pictures are asked for. */
import type { GreyStamp } from '../report/svg/stamps.js';

/** PNG as a data: address. */
export async function greyPng({ side, pixels }: GreyStamp): Promise<string> {
  const { default: sharp } = await import('sharp');
  const png = await sharp(pixels, { raw: { width: side, height: side, channels: 1 } })
    .png({ compressionLevel: 9 })
    .toBuffer();
  return `data:image/png;base64,${png.toString('base64')}`;
}
