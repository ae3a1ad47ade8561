/** Header cards of a simulated frame. */
import type { Scene } from './scene.js';

/** One FITS header card. */
export interface Card {
  keyword: string;
  value: string | number | boolean;
  comment?: string;
}

/** Cards that describe the exposure; the writer adds the mandatory ones (SIMPLE, BITPIX, NAXISn, BZERO). */
export function sceneCards(scene: Scene): Card[] {
  const { camera, telescope, atmosphere } = scene;
  const cards: Card[] = [
    { keyword: 'OBJECT', value: `invented field ${scene.sky.seed}`, comment: 'simulated' },
    { keyword: 'TELESCOP', value: telescope.name, comment: 'invented' },
    { keyword: 'INSTRUME', value: camera.name, comment: 'invented' },
    { keyword: 'IMAGETYP', value: 'Light Frame' },
    { keyword: 'DATE-OBS', value: scene.dateObs, comment: 'invented' },
    { keyword: 'EXPTIME', value: scene.exposureSeconds, comment: 's' },
    { keyword: 'FOCALLEN', value: telescope.focalLengthMm, comment: 'mm' },
    { keyword: 'APTDIA', value: telescope.apertureMm, comment: 'mm' },
    { keyword: 'XPIXSZ', value: camera.pixelUm, comment: 'um' },
    { keyword: 'YPIXSZ', value: camera.pixelUm, comment: 'um' },
    { keyword: 'XBINNING', value: 1 },
    { keyword: 'YBINNING', value: 1 },
    { keyword: 'EGAIN', value: camera.gainElectronsPerAdu, comment: 'electrons per ADU' },
    { keyword: 'PEDESTAL', value: camera.pedestalAdu, comment: 'ADU added to every sample' },
    {
      keyword: 'AIRMASS',
      value: round(1 / Math.cos((atmosphere.zenithDistanceDeg * Math.PI) / 180), 4),
    },
  ];
  if (camera.layout === 'cfa')
    cards.push(
      { keyword: 'BAYERPAT', value: camera.cfa, comment: 'of the first stored rows' },
      { keyword: 'XBAYROFF', value: 0 },
      { keyword: 'YBAYROFF', value: 0 },
    );
  return cards;
}

function round(value: number, digits: number): number {
  return Number(value.toFixed(digits));
}
