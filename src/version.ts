/** The package's version, as every machine-readable document repeats it. A test holds it equal to package.json. */
export const VERSION = '0.1.0';
