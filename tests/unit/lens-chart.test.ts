import { describe, expect, it } from 'vitest';
import { type ChartInput, lensChart } from '../../src/compare/lens-chart.js';
import { svgDocument } from '../../src/report/svg/document.js';
import { lensChartPicture } from '../../src/report/svg/lens-chart.js';

const telescope = (
  label: string,
  blue: [value: number, low: number, high: number] | null,
  apertureMm: number | null = 80,
  focalLengthMm: number | null = 480,
): ChartInput => ({
  label,
  apertureMm,
  focalLengthMm,
  blueDefocusUm: blue && { value: blue[0], low: blue[1], high: blue[2] },
});

describe('chart of lenses, data', () => {
  it('places a telescope by its multiples of 2 λN²', () => {
    // 2 × 0.535 µm × 36 = 38.52 µm at f/6; 77.04 µm is twice that.
    const chart = lensChart([telescope('a', [77.04, 38.52, 154.08])]);
    const { value, low, high } = chart?.lenses[0]?.depthsOfFocus ?? {};
    expect(value).toBeCloseTo(2, 9);
    expect(low).toBeCloseTo(1, 9);
    expect(high).toBeCloseTo(4, 9);
    expect(chart?.lenses[0]?.focalRatio).toBe(6);
  });

  it('curves fall as 1/N and rise as D; ED and apochromat are a tenth and 3 % of the achromat', () => {
    const chart = lensChart([telescope('a', [1, 0, 2]), telescope('b', [1, 0, 2], 160, 960)]);
    if (!chart) throw new Error('no chart');
    expect(chart.curves.map(({ lens, apertureMm }) => `${lens} ${apertureMm}`)).toEqual([
      'achromat 80',
      'achromat 160',
      'ed 80',
      'ed 160',
      'apochromat 80',
      'apochromat 160',
    ]);
    const [small, large, ed, , apo] = chart.curves.map(({ depthsOfFocus }) => depthsOfFocus);
    const ratios = chart.curves[0]?.focalRatio ?? [];
    for (const i of [0, 10, 24]) {
      expect((large[i] as number) / small[i]).toBeCloseTo(2, 9);
      expect((ed[i] as number) / small[i]).toBeCloseTo(0.1, 9);
      expect((apo[i] as number) / small[i]).toBeCloseTo(0.03, 9);
      expect((small[i] * ratios[i]) / (small[0] * ratios[0])).toBeCloseTo(1, 9);
    }
    expect(chart.focalRatioRange[0]).toBeLessThanOrEqual(4);
    expect(ratios.at(-1)).toBeCloseTo(chart.focalRatioRange[1], 9);
  });

  it('the classical rules cross the achromat of one inch at their own ratio', () => {
    const chart = lensChart([telescope('a', [1, 0, 2], 25.4, 25.4 * 5)], [], [25.4]);
    const curve = chart?.curves[0];
    // On a straight line in both logarithms: N · depths is constant.
    const constant = (curve?.depthsOfFocus[0] ?? 0) * (curve?.focalRatio[0] ?? 0);
    for (const limit of chart?.limits ?? []) {
      expect(limit.depthsOfFocus * limit.ratio).toBeCloseTo(constant, 6);
    }
    expect(chart?.limits.map(({ ratio }) => ratio)).toEqual([3, 5]);
  });

  it('names what it cannot place; without any there is no chart', () => {
    const without = [telescope('x', [1, 0, 2], null), telescope('y', null)];
    expect(lensChart(without)).toBeNull();
    expect(lensChart([])).toBeNull();
    const chart = lensChart([telescope('a', [1, 0, 2]), ...without]);
    expect(chart?.missing.map(({ label }) => label)).toEqual(['x', 'y']);
    expect(chart?.missing[0]?.reason).toMatch(/unknown/);
    expect(chart?.missing[1]?.reason).toMatch(/no blue/);
  });

  it('apertures that differ by a rounding share a curve', () => {
    const chart = lensChart([telescope('a', [1, 0, 2], 80), telescope('b', [1, 0, 2], 81)]);
    expect(chart?.curves).toHaveLength(3);
  });
});

describe('chart of lenses, picture', () => {
  const svgOf = (inputs: ChartInput[]): string => {
    const chart = lensChart(inputs);
    if (!chart) throw new Error('no chart');
    return svgDocument(lensChartPicture(chart));
  };
  /** Numbers of x and y in the drawing. */
  const coordinates = (svg: string): number[] =>
    [...svg.matchAll(/ (?:x|y|x1|y1|x2|y2|cx|cy)="([^"]*)"/g)].map((match) => Number(match[1]));

  it('shows value and interval, with the label escaped, and nothing that is no number', () => {
    const svg = svgOf([telescope('<b>&"x', [385.2, 192.6, 770.4])]);
    expect(svg).toContain('&lt;b&gt;&amp;&quot;x: 10 (5 to 20)');
    expect(svg).not.toContain('<b>');
    expect(coordinates(svg).every(Number.isFinite)).toBe(true);
  });

  it('a blue that is no wider than green is an upper limit', () => {
    const svg = svgOf([telescope('apo', [0, 0, 19.26])]);
    expect(svg).toContain('apo: below 0.5');
    expect(svg).not.toContain('<circle');
    expect(svg).toContain('<path');
    expect(coordinates(svg).every(Number.isFinite)).toBe(true);
  });

  it('telescopes that would cover each other stand side by side, others at their focal ratio', () => {
    const circles = (svg: string): number[] =>
      [...svg.matchAll(/<circle cx="([^"]*)"/g)].map((match) => Number(match[1]));
    const [a, b] = circles(svgOf([telescope('a', [50, 40, 60]), telescope('b', [55, 45, 65])]));
    expect(Math.abs(a - b)).toBeCloseTo(16, 2);
    const [c, d] = circles(svgOf([telescope('a', [50, 49, 51]), telescope('b', [900, 890, 910])]));
    expect(c).toBe(d);
  });

  it('long names are cut in the picture and whole in the tooltip, and stay inside', () => {
    const name = 'an invented telescope with a name that is much too long for a chart';
    const svg = svgOf([telescope(name, [50, 40, 60], 80, 1200)]);
    expect(svg).toContain(`<title>${name}: `);
    expect(svg).toMatch(/>an invented telescope [^<]*…: 0\.2/);
  });
});

describe('names of the levels', () => {
  const placed = (blue: number): { x: number; y: number } => textOf(blue, 'below 1:');
  const labelled = (blue: number): { x: number; y: number } =>
    textOf(blue, 'a telescope of a long name');
  const textOf = (blue: number, start: string): { x: number; y: number } => {
    const chart = lensChart([
      telescope('a telescope of a long name', [blue, 0.75 * blue, 1.27 * blue]),
    ]);
    if (!chart) throw new Error('no chart');
    const svg = svgDocument(lensChartPicture(chart));
    const [, x = '', y = ''] =
      new RegExp(`<text x="([\\d.]+)" y="([\\d.]+)"[^>]*>${start.slice(0, 8)}`).exec(svg) ?? [];
    expect(x).not.toBe('');
    return { x: Number(x), y: Number(y) };
  };
  const curve = (name: string): [number, number][] => {
    const chart = lensChart([telescope('a', [80, 76, 84])]);
    if (!chart) throw new Error('no chart');
    const svg = svgDocument(lensChartPicture(chart));
    const [, points = ''] =
      new RegExp(`<polyline points="([^"]+)"[^>]*><title>expected: ${name}`).exec(svg) ?? [];
    return points.split(' ').map((pair) => pair.split(',').map(Number) as [number, number]);
  };

  it.each([80, 28])('“below 1” lies on no curve and no label, with blue of %d µm', (blue) => {
    const { x, y } = placed(blue);
    const points = curve('apochromat');
    expect(points.length).toBeGreaterThan(5);
    // At 11 px the text is 175 px long at most and 11 px high.
    const within = points.filter(
      ([px, py]) => px > x - 4 && px < x + 175 && py > y - 11 && py < y + 3,
    );
    expect(within).toEqual([]);
    // The telescope’s own label, about 170 px long, begins right of its mark at f/6 (250 px).
    const label = labelled(blue);
    const apart = Math.abs(label.y - y) >= 13 || x + 165 < label.x || x > label.x + 170;
    expect(apart).toBe(true);
  });
});
