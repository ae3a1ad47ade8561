/** Pictures in a page: drawings as inline SVG, photographs as embedded images, with caption and text alternative. */
import { num, type Picture } from '../svg/document.js';
import { type Html, html, type Part, trusted } from './markup.js';

/** Drawings narrower than this are never widened on a phone, CSS px; wider ones scroll there instead of becoming illegible. */
const SCROLL_FROM = 600;

/**
 * A drawing with its caption. Its style sheet is that of the page, its ids are made unique by `key`.
 * @param key unlike that of any other figure of the page: letters, digits, hyphens
 */
export function figure(picture: Picture, caption: Part, key: string): Html {
  const body = picture.body
    .replaceAll(/<style>[^<]*<\/style>/g, '')
    .replaceAll(/ id="([\w-]+)"/g, ` id="${key}-$1"`)
    .replaceAll(/url\(#([\w-]+)\)/g, `url(#${key}-$1)`);
  const [w, h] = [num(picture.width), num(picture.height)];
  const wide = picture.width >= SCROLL_FROM ? 'drawing wide' : 'drawing';
  return html`<figure><div class="scroll" role="group" tabindex="0" aria-label="${picture.title}"><svg class="${wide}" viewBox="0 0 ${w} ${h}" width="${w}" height="${h}" role="img" aria-labelledby="${key}-title ${key}-desc"><title id="${key}-title">${picture.title}</title><desc id="${key}-desc">${picture.description}</desc><rect class="paper" width="${w}" height="${h}"/>${trusted(body)}</svg></div><figcaption>${caption}</figcaption></figure>`;
}

export interface EmbeddedImage {
  /** data: address. */
  source: string;
  widthPx: number;
  heightPx: number;
}

/** An embedded image with its caption. */
export function imageFigure(image: EmbeddedImage, alternative: string, caption: Part): Html {
  return html`<figure><img src="${image.source}" width="${image.widthPx}" height="${image.heightPx}" alt="${alternative}"><figcaption>${caption}</figcaption></figure>`;
}
