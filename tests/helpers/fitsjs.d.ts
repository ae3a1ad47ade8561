/** The small part of fitsjs (0.6.6, JavaScript without types) that the tests use. */
declare module 'fitsjs' {
  interface FitsjsHeader {
    get(keyword: string): unknown;
    contains(keyword: string): boolean;
  }
  const fitsjs: { astro: { FITS: { Header: new (cards: string) => FitsjsHeader } } };
  export default fitsjs;
}
