/** Small linear systems: dense symmetric positive definite by Cholesky, and the banded case of spline fits. */

/**
 * Solves A x = b for symmetric positive definite A (n × n, row-major, lower triangle read). A is overwritten by its
 * Cholesky factor, b by x. Returns false when A is not positive definite; A and b are then undefined.
 */
export function solveCholesky(a: Float64Array, b: Float64Array, n: number): boolean {
  if (!factorCholesky(a, n)) return false;
  solveFactored(a, b, n);
  return true;
}

/** Overwrites the lower triangle of A by its Cholesky factor; false when A is not positive definite. */
export function factorCholesky(a: Float64Array, n: number): boolean {
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = a[i * n + j] as number;
      for (let k = 0; k < j; k++) sum -= (a[i * n + k] as number) * (a[j * n + k] as number);
      if (i === j) {
        if (!(sum > 0)) return false;
        a[i * n + i] = Math.sqrt(sum);
      } else {
        a[i * n + j] = sum / (a[j * n + j] as number);
      }
    }
  }
  return true;
}

/** Solves L Lᵀ x = b with the factor of `factorCholesky`; b becomes x. */
export function solveFactored(factor: Float64Array, b: Float64Array, n: number): void {
  for (let i = 0; i < n; i++) {
    let sum = b[i] as number;
    for (let k = 0; k < i; k++) sum -= (factor[i * n + k] as number) * (b[k] as number);
    b[i] = sum / (factor[i * n + i] as number);
  }
  for (let i = n - 1; i >= 0; i--) {
    let sum = b[i] as number;
    for (let k = i + 1; k < n; k++) sum -= (factor[k * n + i] as number) * (b[k] as number);
    b[i] = sum / (factor[i * n + i] as number);
  }
}

/** Diagonal of A⁻¹ from the Cholesky factor; `out` has length n, `scratch` length n. */
export function inverseDiagonal(
  factor: Float64Array,
  n: number,
  out: Float64Array,
  scratch: Float64Array,
): void {
  for (let j = 0; j < n; j++) {
    scratch.fill(0, 0, n);
    scratch[j] = 1;
    solveFactored(factor, scratch, n);
    out[j] = scratch[j] as number;
  }
}

/**
 * Solves a symmetric positive definite banded system in place by Cholesky.
 * Row i holds its diagonal and the `width` elements to the right: a[i × (width + 1) + d] = A(i, i + d).
 * Returns false when A is not positive definite.
 */
export function solveBanded(a: Float64Array, b: Float64Array, n: number, width: number): boolean {
  const stride = width + 1;
  // Factor as Uᵀ U with U in the place of the upper band.
  for (let i = 0; i < n; i++) {
    let diagonal = a[i * stride] as number;
    for (let k = Math.max(0, i - width); k < i; k++) {
      const u = a[k * stride + i - k] as number;
      diagonal -= u * u;
    }
    if (!(diagonal > 0)) return false;
    const root = Math.sqrt(diagonal);
    a[i * stride] = root;
    for (let j = i + 1; j < Math.min(n, i + stride); j++) {
      let sum = a[i * stride + j - i] as number;
      for (let k = Math.max(0, j - width); k < i; k++) {
        sum -= (a[k * stride + i - k] as number) * (a[k * stride + j - k] as number);
      }
      a[i * stride + j - i] = sum / root;
    }
  }
  for (let i = 0; i < n; i++) {
    let sum = b[i] as number;
    for (let k = Math.max(0, i - width); k < i; k++) {
      sum -= (a[k * stride + i - k] as number) * (b[k] as number);
    }
    b[i] = sum / (a[i * stride] as number);
  }
  for (let i = n - 1; i >= 0; i--) {
    let sum = b[i] as number;
    for (let k = i + 1; k < Math.min(n, i + stride); k++) {
      sum -= (a[i * stride + k - i] as number) * (b[k] as number);
    }
    b[i] = sum / (a[i * stride] as number);
  }
  return true;
}
