/** Light from a circular pupil with wavefront errors: its intensity in the focal plane by Fourier transform. */
import { Fft2d } from './fft2d.js';

/** The image grid: `size` points along each axis, `perPixel` of them to a camera pixel. */
export interface ImageGrid {
  size: number;
  perPixel: number;
  pixelUm: number;
}

/** Wavefront errors at one point of the field and one wavelength. */
export interface Wavefront {
  /** Distance of the detector from the focus, µm; signed. */
  defocusUm: number;
  /** Half the distance between the tangential and sagittal foci, µm, along `astigmatismAngle` (radians). */
  astigmatismUm: number;
  astigmatismAngle: number;
  /** Zernike coefficients (root mean square over the pupil) in nm: primary spherical; coma along x and y. */
  sphericalNm: number;
  comaXNm: number;
  comaYNm: number;
}

/**
 * Computes images of a pupil on one grid. The pupil is sampled in steps of λN / (extent of the grid), which puts every
 * wavelength on the same grid of image points.
 */
export class PupilImager {
  private readonly fft: Fft2d;
  private readonly field: Float64Array;
  readonly grid: ImageGrid;
  readonly focalRatio: number;

  constructor(grid: ImageGrid, focalRatio: number) {
    this.grid = grid;
    this.focalRatio = focalRatio;
    this.fft = new Fft2d(grid.size);
    this.field = new Float64Array(2 * grid.size * grid.size);
  }

  /**
   * Adds the intensity of the pupil's image, with total `weight` (the share diffracted beyond the grid is missing), to `intensity` (size × size). The image's origin is
   * element 0, negative offsets wrap round.
   *
   * Optical path difference over the unit pupil (ρ, θ): Δz ρ² / 8N² for defocus and astigmatism (paraxial),
   * √5 (6ρ⁴ − 6ρ² + 1) spherical, √8 (3ρ³ − 2ρ) cos θ coma (Noll 1976, J. Opt. Soc. Am. 66, 207).
   */
  addImage(
    wavelengthNm: number,
    wavefront: Wavefront,
    weight: number,
    intensity: Float64Array,
  ): void {
    const { size } = this.grid;
    const extentUm = (size / this.grid.perPixel) * this.grid.pixelUm;
    const radius = (0.5 * extentUm) / ((wavelengthNm / 1000) * this.focalRatio);
    const rows = Math.min(size, 2 * Math.ceil(radius) + 1);
    this.fillPupil(radius, rows, wavelengthNm, wavefront);
    const symmetric = wavefront.comaXNm === 0 && wavefront.comaYNm === 0;
    // Parseval: the sum of |FT|² is size² times the pupil's power. The true area is used, not the sampled one: the
    // softened edge removes light diffracted beyond the grid, and that light is missing from the image, not moved.
    const power = Math.PI * radius * radius;
    this.fft.addIntensity(this.field, rows, symmetric, weight / (power * size * size), intensity);
  }

  /** Writes the complex pupil into the first `rows` rows and columns. */
  private fillPupil(radius: number, rows: number, wavelengthNm: number, w: Wavefront): void {
    const { size } = this.grid;
    const { field } = this;
    field.fill(0, 0, 2 * size * rows);
    const perNm = (2 * Math.PI) / wavelengthNm;
    const perUm = (1000 * perNm) / (8 * this.focalRatio * this.focalRatio);
    const defocus = perUm * w.defocusUm;
    const astigmatismPlus = perUm * w.astigmatismUm * Math.cos(2 * w.astigmatismAngle);
    const astigmatismCross = perUm * w.astigmatismUm * Math.sin(2 * w.astigmatismAngle);
    const spherical = perNm * w.sphericalNm * Math.sqrt(5);
    const comaX = perNm * w.comaXNm * Math.sqrt(8);
    const comaY = perNm * w.comaYNm * Math.sqrt(8);
    const centre = (rows - 1) / 2;
    for (let row = 0; row < rows; row++) {
      const v = (row - centre) / radius;
      for (let column = 0; column < rows; column++) {
        const u = (column - centre) / radius;
        const square = u * u + v * v;
        // The edge is softened over one sample: the share of a sample that lies inside the circle.
        const inside = 0.5 + (1 - Math.sqrt(square)) * radius;
        if (inside <= 0) continue;
        const amplitude = Math.min(inside, 1);
        const phase =
          defocus * square +
          astigmatismPlus * (u * u - v * v) +
          astigmatismCross * 2 * u * v +
          spherical * (6 * square * square - 6 * square + 1) +
          (3 * square - 2) * (comaX * u + comaY * v);
        const at = 2 * (row * size + column);
        field[at] = amplitude * Math.cos(phase);
        field[at + 1] = amplitude * Math.sin(phase);
      }
    }
  }
}
