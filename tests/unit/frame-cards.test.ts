/** Header cards: the value examples and rules of the FITS Standard 4.0 (sections beside each; examples from memory). */
import { describe, expect, test } from 'vitest';
import { parseCard } from '../../src/frame/fits/cards.js';
import { FitsHeader } from '../../src/frame/fits/header.js';

const readValue = (image: string) => parseCard(image).value;

describe('strings (§4.2.1)', () => {
  test('a null string and a blank string', () => {
    expect(readValue("KEYWORD1= ''                 / null string keyword")).toBe('');
    expect(readValue("KEYWORD2= '   '              / empty string keyword")).toBe('');
  });

  test("a quote is doubled: O'HARA", () => {
    expect(readValue("OBSERVER= 'O''HARA '           / example of §4.2.1")).toBe("O'HARA");
    expect(readValue("K       = ''''")).toBe("'");
    expect(readValue("K       = 'a''''b'")).toBe("a''b");
  });

  test('leading blanks count, trailing ones do not', () => {
    expect(readValue("K       = '  a b  '")).toBe('  a b');
  });

  test('a slash inside the quotes is text, one behind them begins the comment', () => {
    const card = parseCard("DATE    = '19/08/92'           / day/month/year");
    expect(card.value).toBe('19/08/92');
    expect(card.comment).toBe('day/month/year');
  });

  test('free format: the string may begin in any column from 11 on', () => {
    expect(readValue("K       =         'late'")).toBe('late');
  });

  test('a missing closing quote is overlooked and marked', () => {
    const card = parseCard("K       = 'no end / not a comment");
    expect(card.value).toBe('no end / not a comment');
    expect(card.problem).toBe('unterminated-string');
  });
});

describe('logical, integer, real, complex (§4.2.2–4.2.6)', () => {
  test.each([
    ['SIMPLE  =                    T / file does conform to FITS standard', true],
    ['EXTEND  =                    F', false],
    ['NAXIS   =                    2 / number of axes', 2],
    ['K       =                 -012', -12],
    ['K       = +7', 7],
    ['K       =                 -0.5', -0.5],
    ['K       = 5.', 5],
    ['K       = .5', 0.5],
    ['K       =         2.50000E+00', 2.5],
    ['K       =   1.23D-04 / exponent letter D for double precision', 1.23e-4],
    ['K       = 1D3', 1000],
    ['K       = 1.5e2', 150],
  ])('%s', (image, expected) => {
    const card = parseCard(image);
    expect(card.value).toBe(expected);
    expect(card.problem).toBeNull();
  });

  test('complex values are pairs in brackets', () => {
    expect(readValue('K       = (123, 45)')).toEqual({ re: 123, im: 45 });
    expect(readValue('K       = (1.5E2,-.5D0) / with comment')).toEqual({ re: 150, im: -0.5 });
    expect(parseCard('K       = (1, )').problem).toBe('unreadable');
  });

  test('an empty value field is an undefined value (§4.1.2.3)', () => {
    const card = parseCard('K       =                      / nothing here');
    expect(card.value).toBeNull();
    expect(card.problem).toBeNull();
    expect(card.comment).toBe('nothing here');
  });
});

describe('cards that break the standard', () => {
  test('a decimal comma is read and marked', () => {
    const card = parseCard('EXPTIME =              6,4E-05 / written so by real camera software');
    expect(card.value).toBe(6.4e-5);
    expect(card.problem).toBe('decimal-comma');
  });

  test('two commas are no number', () => {
    expect(parseCard('K       = 1,234,567').problem).toBe('unquoted-string');
  });

  test('text without quotes is kept as text and marked', () => {
    const card = parseCard('DATE-OBS= 2026-11-25');
    expect(card.value).toBe('2026-11-25');
    expect(card.problem).toBe('unquoted-string');
  });

  test('no blank after the equals sign: a value when it reads as one, else a comment card', () => {
    expect(readValue('GAIN    =1.5')).toBe(1.5);
    expect(parseCard('GAIN    ==1.5').kind).toBe('comment');
  });

  test('NaN in a header is unreadable, not a number', () => {
    expect(parseCard('K       = NaN').problem).toBe('unreadable');
  });

  test('lower-case keywords are found', () => {
    expect(parseCard('exptime = 3').keyword).toBe('EXPTIME');
  });

  test('an empty card and a card of control characters do no harm', () => {
    expect(parseCard('').kind).toBe('comment');
    expect(parseCard('\u0000'.repeat(80)).kind).toBe('comment');
  });
});

describe('cards without a value (§4.1.2.2, §4.4.2.4)', () => {
  test.each([
    'COMMENT = 5 is still a comment',
    'HISTORY a step',
    "        = 'blank keyword'",
    'ESO-LOG 00:00:00> DATE = 1',
  ])('%s', (image) => {
    expect(parseCard(image).kind).toBe('comment');
  });

  test('END ends only when nothing follows', () => {
    expect(parseCard('END').kind).toBe('end');
    expect(parseCard('END     = 3').kind).toBe('value');
  });
});

describe('HIERARCH (registered convention)', () => {
  test('the words before the equals sign are the keyword', () => {
    const card = parseCard('HIERARCH ESO TEL FOC-POS = 0.29320E+04 / Focus of secondary');
    expect(card.keyword).toBe('ESO TEL FOC-POS');
    expect(card.value).toBe(2932);
    expect(card.comment).toBe('Focus of secondary');
  });

  test('the equals sign may stand close, and the value may be a string with one', () => {
    expect(parseCard('HIERARCH ESO TEL FOCUS LENGTH= 77000').keyword).toBe('ESO TEL FOCUS LENGTH');
    expect(readValue("HIERARCH A B = 'x = y'")).toBe('x = y');
  });
});

describe('long strings (§4.2.1.2)', () => {
  test('the example of the standard, value and comment', () => {
    const header = new FitsHeader([
      "STRKEY  = 'This keyword value is continued &'",
      "CONTINUE  ' over multiple keyword cards.&'",
      "CONTINUE  '&' / The comment field for this",
      "CONTINUE  '&' / keyword is also continued",
      "CONTINUE  '' / over multiple cards.",
    ]);
    const found = header.find('STRKEY');
    expect(found?.value).toBe('This keyword value is continued  over multiple keyword cards.');
    expect(found?.comment).toBe(
      'The comment field for this keyword is also continued over multiple cards.',
    );
    expect(header.cards.length).toBe(1);
  });

  test('an ampersand without CONTINUE is text; CONTINUE without a string before it is a comment', () => {
    const header = new FitsHeader(["A       = 'R&'", 'B       = 1', "CONTINUE  'lost'"]);
    expect(header.find('A')?.value).toBe('R&');
    expect(header.cards[2]?.kind).toBe('comment');
  });

  test('endless continuation is cut', () => {
    const images = ["A       = 'x&'"];
    for (let i = 0; i < 3000; i++) images.push(`CONTINUE  '${'y'.repeat(60)}&'`);
    expect(String(new FitsHeader(images).find('A')?.value).length).toBeLessThanOrEqual(65536);
  });
});

describe('duplicates', () => {
  test('the first card wins, as in astropy; differing copies are marked', () => {
    const header = new FitsHeader(['A       = 1', 'B       = 2', 'A       = 3', 'B       = 2']);
    expect(header.find('A')).toMatchObject({ value: 1, conflicting: true });
    expect(header.find('B')).toMatchObject({ value: 2, conflicting: false });
  });

  test('keywords that are names of object properties are ordinary keywords', () => {
    const header = new FitsHeader(['__PROTO_= 1']);
    expect(header.find('__PROTO_')?.value).toBe(1);
    expect(header.find('CONSTRUCTOR')).toBeUndefined();
  });
});
