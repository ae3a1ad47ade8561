;; The whole-frame loops, four or eight samples at a time (WebAssembly with fixed-width SIMD).
;;
;; Every function here has a twin in plain.ts that gives the same bits: single precision, the same order of operations, no
;; fused multiply-add. Addresses are bytes in the module's own memory; nothing is allocated here. Rows are padded by their
;; owner, since loops over cells always finish their last group of four.
;;
;; `node scripts/build-kernels.mjs` turns this text into kernels-bytes.ts.
(module
  (memory (export "memory") 1)

  ;; Swaps the bytes of `count` 16-bit samples in place and XORs each with the low half of `$flip`.
  (func (export "swap16") (param $at i32) (param $count i32) (param $flip i32)
    (local $end i32) (local $mask v128) (local $v i32)
    (local.set $mask (i16x8.splat (local.get $flip)))
    (local.set $end
      (i32.add (local.get $at) (i32.shl (i32.and (local.get $count) (i32.const -8)) (i32.const 1))))
    (block $groups_done
      (loop $groups
        (br_if $groups_done (i32.ge_u (local.get $at) (local.get $end)))
        (v128.store (local.get $at)
          (v128.xor
            (local.get $mask)
            (i8x16.shuffle 1 0 3 2 5 4 7 6 9 8 11 10 13 12 15 14
              (v128.load (local.get $at)) (v128.load (local.get $at)))))
        (local.set $at (i32.add (local.get $at) (i32.const 16)))
        (br $groups)))
    (local.set $end
      (i32.add (local.get $end) (i32.shl (i32.and (local.get $count) (i32.const 7)) (i32.const 1))))
    (block $done
      (loop $singles
        (br_if $done (i32.ge_u (local.get $at) (local.get $end)))
        (local.set $v (i32.load16_u (local.get $at)))
        (i32.store16 (local.get $at)
          (i32.xor
            (i32.or
              (i32.shl (local.get $v) (i32.const 8))
              (i32.shr_u (local.get $v) (i32.const 8)))
            (local.get $flip)))
        (local.set $at (i32.add (local.get $at) (i32.const 2)))
        (br $singles))))

  ;; One row of 2 x 2 cells from two rows of unsigned 16-bit samples:
  ;; out = ((w0 a + w1 b) + (w2 c + w3 d)) - background, or 0 where that is no finite number.
  (func (export "cells16")
    (param $top i32) (param $bottom i32) (param $background i32) (param $out i32) (param $columns i32)
    (param $w0 f32) (param $w1 f32) (param $w2 f32) (param $w3 f32)
    (local $end i32) (local $a v128) (local $b v128) (local $low v128)
    (local $v0 v128) (local $v1 v128) (local $v2 v128) (local $v3 v128)
    (local.set $v0 (f32x4.splat (local.get $w0)))
    (local.set $v1 (f32x4.splat (local.get $w1)))
    (local.set $v2 (f32x4.splat (local.get $w2)))
    (local.set $v3 (f32x4.splat (local.get $w3)))
    (local.set $low (i32x4.splat (i32.const 0xffff)))
    (local.set $end
      (i32.add (local.get $out) (i32.shl (local.get $columns) (i32.const 2))))
    (block $done
      (loop $cells
        (br_if $done (i32.ge_u (local.get $out) (local.get $end)))
        (local.set $a (v128.load (local.get $top)))
        (local.set $b (v128.load (local.get $bottom)))
        (local.set $a
          (f32x4.sub
            (f32x4.add
              (f32x4.add
                (f32x4.mul (local.get $v0)
                  (f32x4.convert_i32x4_s (v128.and (local.get $a) (local.get $low))))
                (f32x4.mul (local.get $v1)
                  (f32x4.convert_i32x4_s (i32x4.shr_u (local.get $a) (i32.const 16)))))
              (f32x4.add
                (f32x4.mul (local.get $v2)
                  (f32x4.convert_i32x4_s (v128.and (local.get $b) (local.get $low))))
                (f32x4.mul (local.get $v3)
                  (f32x4.convert_i32x4_s (i32x4.shr_u (local.get $b) (i32.const 16))))))
            (v128.load (local.get $background))))
        (local.set $b (f32x4.sub (local.get $a) (local.get $a)))
        (v128.store (local.get $out)
          (v128.and (local.get $a) (f32x4.eq (local.get $b) (local.get $b))))
        (local.set $top (i32.add (local.get $top) (i32.const 16)))
        (local.set $bottom (i32.add (local.get $bottom) (i32.const 16)))
        (local.set $background (i32.add (local.get $background) (i32.const 16)))
        (local.set $out (i32.add (local.get $out) (i32.const 16)))
        (br $cells))))

  ;; A symmetric filter along a row. `$kernel` holds half + 1 weights, the middle one first, then outwards;
  ;; out[x] = k0 p[x] + k1 (p[x - 1] + p[x + 1]) + ...; `$padded` is the address of p[0].
  (func (export "filterRow")
    (param $padded i32) (param $kernel i32) (param $half i32) (param $out i32) (param $columns i32)
    (local $end i32) (local $sum v128) (local $j i32) (local $middle v128)
    (local.set $middle (v128.load32_splat (local.get $kernel)))
    (local.set $end (i32.add (local.get $out) (i32.shl (local.get $columns) (i32.const 2))))
    (local.set $half (i32.shl (local.get $half) (i32.const 2)))
    (block $done
      (loop $cells
        (br_if $done (i32.ge_u (local.get $out) (local.get $end)))
        (local.set $sum (f32x4.mul (local.get $middle) (v128.load (local.get $padded))))
        (local.set $j (i32.const 4))
        (loop $taps
          (local.set $sum
            (f32x4.add (local.get $sum)
              (f32x4.mul
                (v128.load32_splat (i32.add (local.get $kernel) (local.get $j)))
                (f32x4.add
                  (v128.load (i32.sub (local.get $padded) (local.get $j)))
                  (v128.load (i32.add (local.get $padded) (local.get $j)))))))
          (local.set $j (i32.add (local.get $j) (i32.const 4)))
          (br_if $taps (i32.le_u (local.get $j) (local.get $half))))
        (v128.store (local.get $out) (local.get $sum))
        (local.set $padded (i32.add (local.get $padded) (i32.const 16)))
        (local.set $out (i32.add (local.get $out) (i32.const 16)))
        (br $cells))))

  ;; The same filter down the columns of 2 half + 1 rows whose addresses stand in the list at `$rows`. The first column of
  ;; each group of four that reaches `$threshold` anywhere goes into the list at `$hits`; returns their number.
  (func (export "filterColumns")
    (param $rows i32) (param $kernel i32) (param $half i32) (param $out i32) (param $columns i32)
    (param $threshold f32) (param $hits i32) (result i32)
    (local $x i32) (local $end i32) (local $sum v128) (local $j i32) (local $reach i32)
    (local $centre i32) (local $middle v128) (local $limit v128) (local $first i32)
    (local.set $first (local.get $hits))
    (local.set $limit (f32x4.splat (local.get $threshold)))
    (local.set $middle (v128.load32_splat (local.get $kernel)))
    (local.set $reach (i32.shl (local.get $half) (i32.const 2)))
    ;; Address of the middle entry of the list, and the middle row itself.
    (local.set $rows (i32.add (local.get $rows) (local.get $reach)))
    (local.set $centre (i32.load (local.get $rows)))
    (local.set $end (i32.shl (local.get $columns) (i32.const 2)))
    (block $done
      (loop $cells
        (br_if $done (i32.ge_u (local.get $x) (local.get $end)))
        (local.set $sum
          (f32x4.mul (local.get $middle) (v128.load (i32.add (local.get $centre) (local.get $x)))))
        (local.set $j (i32.const 4))
        (loop $taps
          (local.set $sum
            (f32x4.add (local.get $sum)
              (f32x4.mul
                (v128.load32_splat (i32.add (local.get $kernel) (local.get $j)))
                (f32x4.add
                  (v128.load
                    (i32.add (i32.load (i32.sub (local.get $rows) (local.get $j))) (local.get $x)))
                  (v128.load
                    (i32.add (i32.load (i32.add (local.get $rows) (local.get $j))) (local.get $x)))))))
          (local.set $j (i32.add (local.get $j) (i32.const 4)))
          (br_if $taps (i32.le_u (local.get $j) (local.get $reach))))
        (v128.store (i32.add (local.get $out) (local.get $x)) (local.get $sum))
        (if (v128.any_true (f32x4.ge (local.get $sum) (local.get $limit)))
          (then
            (i32.store (local.get $hits) (i32.shr_u (local.get $x) (i32.const 2)))
            (local.set $hits (i32.add (local.get $hits) (i32.const 4)))))
        (local.set $x (i32.add (local.get $x) (i32.const 16)))
        (br $cells)))
    (i32.shr_u (i32.sub (local.get $hits) (local.get $first)) (i32.const 2)))

  ;; Straight lines between nodes eight columns apart: columns 8 i ... 8 i + 7 from nodes i and i + 1.
  (func (export "ramp") (param $nodes i32) (param $out i32) (param $intervals i32)
    (local $end i32) (local $here v128) (local $slope v128)
    (local.set $end (i32.add (local.get $nodes) (i32.shl (local.get $intervals) (i32.const 2))))
    (block $done
      (loop $intervals
        (br_if $done (i32.ge_u (local.get $nodes) (local.get $end)))
        (local.set $here (v128.load32_splat (local.get $nodes)))
        (local.set $slope
          (f32x4.mul
            (f32x4.sub (v128.load32_splat offset=4 (local.get $nodes)) (local.get $here))
            (f32x4.splat (f32.const 0.125))))
        (v128.store (local.get $out)
          (f32x4.add (local.get $here)
            (f32x4.mul (local.get $slope) (v128.const f32x4 0 1 2 3))))
        (v128.store offset=16 (local.get $out)
          (f32x4.add (local.get $here)
            (f32x4.mul (local.get $slope) (v128.const f32x4 4 5 6 7))))
        (local.set $nodes (i32.add (local.get $nodes) (i32.const 4)))
        (local.set $out (i32.add (local.get $out) (i32.const 32)))
        (br $intervals))))

  ;; Sum, sum of squares and number of d = value - centre over the 32-bit values from `$low` to `$high`, as three doubles at
  ;; `$out`. Even and odd places are summed apart and added at the end. `$count` is even: an odd list ends with a NaN.
  (func (export "moments")
    (param $at i32) (param $count i32) (param $centre f64) (param $low f64) (param $high f64) (param $out i32)
    (local $end i32) (local $v v128) (local $inside v128) (local $sum v128) (local $squares v128) (local $n v128)
    (local.set $end (i32.add (local.get $at) (i32.shl (local.get $count) (i32.const 2))))
    (block $done
      (loop $pairs
        (br_if $done (i32.ge_u (local.get $at) (local.get $end)))
        (local.set $v (f64x2.promote_low_f32x4 (v128.load64_zero (local.get $at))))
        (local.set $inside
          (v128.and
            (f64x2.ge (local.get $v) (f64x2.splat (local.get $low)))
            (f64x2.le (local.get $v) (f64x2.splat (local.get $high)))))
        (local.set $v
          (v128.and (local.get $inside)
            (f64x2.sub (local.get $v) (f64x2.splat (local.get $centre)))))
        (local.set $sum (f64x2.add (local.get $sum) (local.get $v)))
        (local.set $squares
          (f64x2.add (local.get $squares) (f64x2.mul (local.get $v) (local.get $v))))
        (local.set $n (i64x2.sub (local.get $n) (local.get $inside)))
        (local.set $at (i32.add (local.get $at) (i32.const 8)))
        (br $pairs)))
    (f64.store (local.get $out)
      (f64.add (f64x2.extract_lane 0 (local.get $sum)) (f64x2.extract_lane 1 (local.get $sum))))
    (f64.store offset=8 (local.get $out)
      (f64.add (f64x2.extract_lane 0 (local.get $squares)) (f64x2.extract_lane 1 (local.get $squares))))
    (f64.store offset=16 (local.get $out)
      (f64.convert_i64_s
        (i64.add (i64x2.extract_lane 0 (local.get $n)) (i64x2.extract_lane 1 (local.get $n))))))

  ;; Number of values below `$limit`; `$count` is a multiple of four, NaN counts as not below.
  (func $below (export "below") (param $at i32) (param $count i32) (param $limit f32) (result i32)
    (local $end i32) (local $n v128) (local $t v128)
    (local.set $t (f32x4.splat (local.get $limit)))
    (local.set $end (i32.add (local.get $at) (i32.shl (local.get $count) (i32.const 2))))
    (block $done
      (loop $groups
        (br_if $done (i32.ge_u (local.get $at) (local.get $end)))
        (local.set $n
          (i32x4.sub (local.get $n) (f32x4.lt (v128.load (local.get $at)) (local.get $t))))
        (local.set $at (i32.add (local.get $at) (i32.const 16)))
        (br $groups)))
    (i32.add
      (i32.add (i32x4.extract_lane 0 (local.get $n)) (i32x4.extract_lane 1 (local.get $n)))
      (i32.add (i32x4.extract_lane 2 (local.get $n)) (i32x4.extract_lane 3 (local.get $n)))))

  ;; The order of floats is that of these integers: the sign bit of negative ones turns the others round.
  (func $ofKey (param $key i32) (result f32)
    (f32.reinterpret_i32
      (i32.xor (local.get $key)
        (i32.and (i32.shr_s (local.get $key) (i32.const 31)) (i32.const 0x7fffffff)))))
  (func $keyOf (param $value f32) (result i32)
    (local $bits i32)
    (local.set $bits (i32.reinterpret_f32 (local.get $value)))
    (i32.xor (local.get $bits)
      (i32.and (i32.shr_s (local.get $bits) (i32.const 31)) (i32.const 0x7fffffff))))

  ;; The value with `$rank` smaller ones (equal ones in any order), known to lie from `$low` to `$high`: the interval is
  ;; halved on the integer order, every step one count without a branch on the data.
  (func (export "select")
    (param $at i32) (param $count i32) (param $rank i32) (param $low f32) (param $high f32) (result f32)
    (local $from i32) (local $to i32) (local $middle i32)
    ;; Invariant: at most `rank` values lie below `from`, more than `rank` below `to` + 1.
    (local.set $from (call $keyOf (local.get $low)))
    (local.set $to (call $keyOf (local.get $high)))
    (block $done
      (loop $halves
        (br_if $done (i32.ge_s (local.get $from) (local.get $to)))
        ;; Mean rounded up without overflow.
        (local.set $middle
          (i32.sub
            (i32.or (local.get $from) (local.get $to))
            (i32.shr_s (i32.xor (local.get $from) (local.get $to)) (i32.const 1))))
        (if (i32.gt_s
              (call $below (local.get $at) (local.get $count) (call $ofKey (local.get $middle)))
              (local.get $rank))
          (then (local.set $to (i32.sub (local.get $middle) (i32.const 1))))
          (else (local.set $from (local.get $middle))))
        (br $halves)))
    (call $ofKey (local.get $from)))

  ;; The largest value below `$limit`; minus infinity where there is none.
  (func (export "largestBelow") (param $at i32) (param $count i32) (param $limit f32) (result f32)
    (local $end i32) (local $best v128) (local $v v128) (local $none v128) (local $t v128)
    (local.set $none (f32x4.splat (f32.const -inf)))
    (local.set $best (local.get $none))
    (local.set $t (f32x4.splat (local.get $limit)))
    (local.set $end (i32.add (local.get $at) (i32.shl (local.get $count) (i32.const 2))))
    (block $done
      (loop $groups
        (br_if $done (i32.ge_u (local.get $at) (local.get $end)))
        (local.set $v (v128.load (local.get $at)))
        (local.set $best
          (f32x4.max (local.get $best)
            (v128.bitselect (local.get $v) (local.get $none)
              (f32x4.lt (local.get $v) (local.get $t)))))
        (local.set $at (i32.add (local.get $at) (i32.const 16)))
        (br $groups)))
    (f32.max
      (f32.max (f32x4.extract_lane 0 (local.get $best)) (f32x4.extract_lane 1 (local.get $best)))
      (f32.max (f32x4.extract_lane 2 (local.get $best)) (f32x4.extract_lane 3 (local.get $best)))))
)
