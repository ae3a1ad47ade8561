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
)
