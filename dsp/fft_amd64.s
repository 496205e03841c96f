// The steps of fft.go for processors with AVX2 and FMA. A Y register holds two
// complex numbers as re, im, re, im.

#include "textflag.h"

DATA conjugate<>+0(SB)/8, $0
DATA conjugate<>+8(SB)/8, $0x8000000000000000
DATA conjugate<>+16(SB)/8, $0
DATA conjugate<>+24(SB)/8, $0x8000000000000000
GLOBL conjugate<>(SB), RODATA|NOPTR, $32

DATA half<>+0(SB)/8, $0.5
GLOBL half<>(SB), RODATA|NOPTR, $8

// TIMES does u *= w for both numbers in u, where wr holds the real parts of w
// twice each and wi the imaginary ones.
#define TIMES(u, wr, wi, t) \
	VPERMILPD      $5, u, t   \
	VMULPD         wi, t, t   \
	VFMADDSUB213PD t, wr, u

// FOUR turns a, b, c, d in Y0 to Y3 into the sums of a step of four before their
// twiddles: (a+c)+(b+d) in Y4, (a−c)−i(b−d) in Y1, (a+c)−(b+d) in Y5 and
// (a−c)+i(b−d) in Y3. Y15 is conjugate.
#define FOUR \
	VADDPD    Y2, Y0, Y4  \
	VADDPD    Y3, Y1, Y6  \
	VSUBPD    Y2, Y0, Y2  \
	VSUBPD    Y3, Y1, Y7  \
	VPERMILPD $5, Y7, Y7  \
	VXORPD    Y15, Y7, Y7 \
	VADDPD    Y7, Y2, Y1  \
	VSUBPD    Y7, Y2, Y3  \
	VSUBPD    Y6, Y4, Y5  \
	VADDPD    Y6, Y4, Y4

// func radix4AVX2(dst, src, twiddle *complex128, m, s int)
TEXT ·radix4AVX2(SB), NOSPLIT, $0-40
	MOVQ    dst+0(FP), DI
	MOVQ    src+8(FP), SI
	MOVQ    twiddle+16(FP), DX
	MOVQ    m+24(FP), R8
	MOVQ    s+32(FP), R9
	SHLQ    $4, R9             // s in bytes
	MOVQ    R8, R10
	IMULQ   R9, R10            // m·s in bytes: from a to b, c, d
	LEAQ    (R10)(R10*2), R11
	LEAQ    (R9)(R9*2), R12
	VMOVUPD conjugate<>(SB), Y15
	XORQ    BX, BX             // of the first twiddle, p·s in bytes

next: // p
	LEAQ         (DX)(BX*1), R13
	VBROADCASTSD (R13), Y8
	VBROADCASTSD 8(R13), Y9
	LEAQ         (DX)(BX*2), AX
	VBROADCASTSD (AX), Y10
	VBROADCASTSD 8(AX), Y11
	VBROADCASTSD (AX)(BX*1), Y12
	VBROADCASTSD 8(AX)(BX*1), Y13
	MOVQ         R9, CX

pair: // q, two at a time
	VMOVUPD (SI), Y0
	VMOVUPD (SI)(R10*1), Y1
	VMOVUPD (SI)(R10*2), Y2
	VMOVUPD (SI)(R11*1), Y3
	FOUR
	TIMES(Y1, Y8, Y9, Y0)
	TIMES(Y5, Y10, Y11, Y6)
	TIMES(Y3, Y12, Y13, Y7)
	VMOVUPD Y4, (DI)
	VMOVUPD Y1, (DI)(R9*1)
	VMOVUPD Y5, (DI)(R9*2)
	VMOVUPD Y3, (DI)(R12*1)
	ADDQ    $32, SI
	ADDQ    $32, DI
	SUBQ    $32, CX
	JNZ     pair

	ADDQ R12, DI
	ADDQ R9, BX
	DECQ R8
	JNZ  next
	VZEROUPPER
	RET

// func radix4FirstAVX2(dst, src, twiddle *complex128, m int)
TEXT ·radix4FirstAVX2(SB), NOSPLIT, $0-32
	MOVQ    dst+0(FP), DI
	MOVQ    src+8(FP), SI
	MOVQ    twiddle+16(FP), DX
	MOVQ    m+24(FP), R8
	MOVQ    R8, R10
	SHLQ    $4, R10
	LEAQ    (R10)(R10*2), R11
	MOVQ    DX, R12            // at p, 2p, 3p
	MOVQ    DX, R13
	VMOVUPD conjugate<>(SB), Y15

pair: // p, two at a time
	VMOVUPD     (SI), Y0
	VMOVUPD     (SI)(R10*1), Y1
	VMOVUPD     (SI)(R10*2), Y2
	VMOVUPD     (SI)(R11*1), Y3
	FOUR
	VMOVUPD     (DX), Y8
	VMOVUPD     (R12), X10
	VINSERTF128 $1, 32(R12), Y10, Y10
	VMOVUPD     (R13), X12
	VINSERTF128 $1, 48(R13), Y12, Y12
	VPERMILPD   $15, Y8, Y9
	VMOVDDUP    Y8, Y8
	VPERMILPD   $15, Y10, Y11
	VMOVDDUP    Y10, Y10
	VPERMILPD   $15, Y12, Y13
	VMOVDDUP    Y12, Y12
	TIMES(Y1, Y8, Y9, Y0)
	TIMES(Y5, Y10, Y11, Y6)
	TIMES(Y3, Y12, Y13, Y7)
	VPERM2F128  $0x20, Y1, Y4, Y0
	VPERM2F128  $0x20, Y3, Y5, Y2
	VPERM2F128  $0x31, Y1, Y4, Y6
	VPERM2F128  $0x31, Y3, Y5, Y7
	VMOVUPD     Y0, (DI)
	VMOVUPD     Y2, 32(DI)
	VMOVUPD     Y6, 64(DI)
	VMOVUPD     Y7, 96(DI)
	ADDQ        $32, SI
	ADDQ        $128, DI
	ADDQ        $32, DX
	ADDQ        $64, R12
	ADDQ        $96, R13
	SUBQ        $2, R8
	JNZ         pair
	VZEROUPPER
	RET

// func unpackAVX2(dst, z, rot *complex128, h, pairs int)
TEXT ·unpackAVX2(SB), NOSPLIT, $0-40
	MOVQ         dst+0(FP), DI
	MOVQ         z+8(FP), SI
	MOVQ         rot+16(FP), DX
	MOVQ         h+24(FP), R8
	MOVQ         pairs+32(FP), CX
	SHLQ         $4, R8
	LEAQ         -32(SI)(R8*1), R9  // h−2 and h−1
	LEAQ         -32(DI)(R8*1), R10
	ADDQ         $16, SI            // 1 and 2
	ADDQ         $16, DI
	ADDQ         $16, DX
	VMOVUPD      conjugate<>(SB), Y15
	VBROADCASTSD half<>(SB), Y14

pair:
	VMOVUPD    (SI), Y0
	VMOVUPD    (R9), Y1
	VPERM2F128 $0x01, Y1, Y1, Y1 // in the order of k
	VXORPD     Y15, Y1, Y1
	VADDPD     Y1, Y0, Y2
	VMULPD     Y14, Y2, Y2       // even
	VSUBPD     Y1, Y0, Y3
	VMOVUPD    (DX), Y4
	VPERMILPD  $15, Y4, Y5
	VMOVDDUP   Y4, Y4
	TIMES(Y3, Y4, Y5, Y6)        // odd, turned
	VADDPD     Y3, Y2, Y0
	VSUBPD     Y3, Y2, Y1
	VXORPD     Y15, Y1, Y1
	VPERM2F128 $0x01, Y1, Y1, Y1
	VMOVUPD    Y0, (DI)
	VMOVUPD    Y1, (R10)
	ADDQ       $32, SI
	ADDQ       $32, DI
	ADDQ       $32, DX
	SUBQ       $32, R9
	SUBQ       $32, R10
	DECQ       CX
	JNZ        pair
	VZEROUPPER
	RET
