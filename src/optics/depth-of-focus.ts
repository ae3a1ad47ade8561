/** How far a focus may be off before it shows, and lengths as fractions of the focal length. */

/**
 * Half the depth of focus in µm: 2 λ N², the defocus that bends the wavefront by a quarter of a wave at the rim
 * (Rayleigh's quarter-wave criterion; Born & Wolf, section 8.8.2). The whole range is ± this value.
 */
export function depthOfFocusUm(wavelengthNm: number, focalRatio: number): number {
  return 2 * wavelengthNm * 1e-3 * focalRatio * focalRatio;
}

/** A length along the axis (µm) as a fraction of the focal length; its inverse is the n of "f/n". */
export function focalLengthFraction(lengthUm: number, focalLengthMm: number): number {
  return lengthUm / (focalLengthMm * 1000);
}
