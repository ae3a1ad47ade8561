/** Answers of the star fit to defocus and coma, by wave optics, in thousandths: written by bench/field/calibrate-response.ts. */

/** Rows: (λN / pixel)² / T0, the share of diffraction in the star's size. */
export const DIFFRACTION_SHARE = [18, 53, 104, 214, 347, 578] as const;
/** Elongation Q over the mean square of a short straight drift, by row. */
export const DRIFT_ELONGATION = [1689, 1694, 1698, 1702, 1702, 1694] as const;
/** Columns: geometric mean square radius of the aberration / T0. */
export const ABERRATION_SHARE = [20, 100, 250, 500, 1000, 2000, 4000] as const;
/** Growth of T over the geometric growth by defocus. */
export const DEFOCUS_GROWTH = [
  [1604, 1649, 1748, 1866, 1992, 2073, 2007],
  [1426, 1477, 1569, 1695, 1863, 1978, 1943],
  [1300, 1317, 1402, 1532, 1719, 1870, 1878],
  [1024, 1066, 1153, 1278, 1488, 1699, 1782],
  [827, 862, 942, 1053, 1273, 1539, 1692],
  [595, 619, 666, 765, 964, 1303, 1549],
] as const;

/** Growth of T over the geometric growth by coma. */
export const COMA_GROWTH = [
  [1378, 1407, 1416, 1382, 1289, 1136, 894],
  [1122, 1161, 1191, 1208, 1174, 1072, 864],
  [902, 951, 989, 1038, 1055, 1003, 833],
  [633, 667, 707, 776, 854, 881, 778],
  [443, 470, 500, 562, 656, 754, 728],
  [240, 280, 300, 329, 401, 530, 630],
] as const;

/** Elongation Q over the geometric one by coma. */
export const COMA_ELONGATION = [
  [1257, 1288, 1336, 1347, 1269, 1090, 819],
  [1030, 1070, 1131, 1184, 1172, 1048, 799],
  [861, 895, 952, 1024, 1068, 999, 785],
  [657, 676, 716, 785, 884, 910, 761],
  [515, 526, 549, 598, 699, 808, 739],
  [366, 370, 381, 404, 468, 609, 692],
] as const;

/** Skew K over the geometric root-mean-square radius by coma. */
export const COMA_SKEW = [
  [380, 515, 784, 1124, 1399, 1496, 1361],
  [548, 616, 772, 1030, 1325, 1460, 1343],
  [670, 696, 773, 942, 1229, 1412, 1324],
  [781, 776, 784, 836, 1033, 1305, 1290],
  [804, 789, 773, 769, 852, 1135, 1259],
  [725, 712, 691, 668, 661, 811, 1171],
] as const;
