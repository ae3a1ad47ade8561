/** What makes a comparison unfair, item by item, before any row is looked at. Thresholds and reasons: docs/compare.md. */
import {
  exposureItem,
  filterItem,
  gainItem,
  pixelItem,
  samplingItem,
  saturationItem,
} from './fairness-camera.js';
import { calibrationItem, linearityItems, mosaicItem } from './fairness-data.js';
import type { FairnessFacts, SharedFacts } from './fairness-facts.js';
import { airmassItem, backgroundItem, seeingItem, timeItem } from './fairness-sky.js';
import {
  focusItem,
  overlapItem,
  populationItem,
  radiusItem,
  scaleItem,
  starsItem,
} from './fairness-stars.js';
import type { FairnessItem } from './result.js';

/** All items in the order of the report: when and how it was exposed, the air, the camera, the stars. */
export function fairnessOf(facts: readonly FairnessFacts[], shared: SharedFacts): FairnessItem[] {
  return [
    exposureItem(facts),
    gainItem(facts),
    filterItem(facts),
    timeItem(facts),
    airmassItem(facts),
    seeingItem(facts),
    backgroundItem(facts),
    focusItem(facts),
    scaleItem(facts, shared),
    samplingItem(facts),
    pixelItem(facts),
    saturationItem(facts),
    ...linearityItems(facts, shared),
    mosaicItem(facts),
    calibrationItem(facts),
    populationItem(facts, shared),
    overlapItem(facts),
    starsItem(facts, shared),
    radiusItem(facts, shared),
  ];
}
