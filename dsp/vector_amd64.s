// The inner loops of vector.go for processors with AVX2 and FMA. Y registers
// hold four float64; VFMADD231PD m, u, s does s += u·m in each of them.

#include "textflag.h"

// func dotAVX2(a, b *float64, n int) float64
TEXT ·dotAVX2(SB), NOSPLIT, $0-32
	MOVQ   a+0(FP), SI
	MOVQ   b+8(FP), DI
	MOVQ   n+16(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	SUBQ   $16, CX
	JLT    fours

sixteen: // four sums of four, so that no addition waits for the one before
	VMOVUPD     (SI), Y4
	VMOVUPD     32(SI), Y5
	VMOVUPD     64(SI), Y6
	VMOVUPD     96(SI), Y7
	VFMADD231PD (DI), Y4, Y0
	VFMADD231PD 32(DI), Y5, Y1
	VFMADD231PD 64(DI), Y6, Y2
	VFMADD231PD 96(DI), Y7, Y3
	ADDQ        $128, SI
	ADDQ        $128, DI
	SUBQ        $16, CX
	JGE         sixteen

fours:
	ADDQ $12, CX // CX = left − 4
	JLT  fold

four:
	VMOVUPD     (SI), Y4
	VFMADD231PD (DI), Y4, Y0
	ADDQ        $32, SI
	ADDQ        $32, DI
	SUBQ        $4, CX
	JGE         four

fold:
	VADDPD       Y1, Y0, Y0
	VADDPD       Y3, Y2, Y2
	VADDPD       Y2, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VHADDPD      X0, X0, X0
	ADDQ         $4, CX
	JZ           done

one:
	VMOVSD      (SI), X4
	VFMADD231SD (DI), X4, X0
	ADDQ        $8, SI
	ADDQ        $8, DI
	DECQ        CX
	JNZ         one

done:
	VMOVSD X0, ret+24(FP)
	VZEROUPPER
	RET

// func dot2AVX2(x, a, b *float64, n int) (xa, xb float64)
TEXT ·dot2AVX2(SB), NOSPLIT, $0-48
	MOVQ   x+0(FP), SI
	MOVQ   a+8(FP), DI
	MOVQ   b+16(FP), DX
	MOVQ   n+24(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7
	SUBQ   $16, CX
	JLT    fours

sixteen:
	VMOVUPD     (SI), Y8
	VMOVUPD     32(SI), Y9
	VMOVUPD     64(SI), Y10
	VMOVUPD     96(SI), Y11
	VFMADD231PD (DI), Y8, Y0
	VFMADD231PD 32(DI), Y9, Y1
	VFMADD231PD 64(DI), Y10, Y2
	VFMADD231PD 96(DI), Y11, Y3
	VFMADD231PD (DX), Y8, Y4
	VFMADD231PD 32(DX), Y9, Y5
	VFMADD231PD 64(DX), Y10, Y6
	VFMADD231PD 96(DX), Y11, Y7
	ADDQ        $128, SI
	ADDQ        $128, DI
	ADDQ        $128, DX
	SUBQ        $16, CX
	JGE         sixteen

fours:
	ADDQ $12, CX
	JLT  fold

four:
	VMOVUPD     (SI), Y8
	VFMADD231PD (DI), Y8, Y0
	VFMADD231PD (DX), Y8, Y4
	ADDQ        $32, SI
	ADDQ        $32, DI
	ADDQ        $32, DX
	SUBQ        $4, CX
	JGE         four

fold:
	VADDPD       Y1, Y0, Y0
	VADDPD       Y3, Y2, Y2
	VADDPD       Y2, Y0, Y0
	VADDPD       Y5, Y4, Y4
	VADDPD       Y7, Y6, Y6
	VADDPD       Y6, Y4, Y4
	VHADDPD      Y4, Y0, Y0 // a, b, a, b
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VUNPCKHPD    X0, X0, X1
	ADDQ         $4, CX
	JZ           done

one:
	VMOVSD      (SI), X4
	VFMADD231SD (DI), X4, X0
	VFMADD231SD (DX), X4, X1
	ADDQ        $8, SI
	ADDQ        $8, DI
	ADDQ        $8, DX
	DECQ        CX
	JNZ         one

done:
	VMOVSD X0, xa+32(FP)
	VMOVSD X1, xb+40(FP)
	VZEROUPPER
	RET

// func axpyAVX2(a float64, x, y *float64, n int)
TEXT ·axpyAVX2(SB), NOSPLIT, $0-32
	VBROADCASTSD a+0(FP), Y0
	MOVQ         x+8(FP), SI
	MOVQ         y+16(FP), DI
	MOVQ         n+24(FP), CX
	SUBQ         $8, CX
	JLT          ones

eight:
	VMOVUPD     (DI), Y1
	VMOVUPD     32(DI), Y2
	VFMADD231PD (SI), Y0, Y1
	VFMADD231PD 32(SI), Y0, Y2
	VMOVUPD     Y1, (DI)
	VMOVUPD     Y2, 32(DI)
	ADDQ        $64, SI
	ADDQ        $64, DI
	SUBQ        $8, CX
	JGE         eight

ones:
	ADDQ $8, CX
	JZ   done

one:
	VMOVSD      (DI), X1
	VFMADD231SD (SI), X0, X1
	VMOVSD      X1, (DI)
	ADDQ        $8, SI
	ADDQ        $8, DI
	DECQ        CX
	JNZ         one

done:
	VZEROUPPER
	RET

// func extentAVX2(x *float64, n int) (sumSq, peak float64)
TEXT ·extentAVX2(SB), NOSPLIT, $0-32
	MOVQ     x+0(FP), SI
	MOVQ     n+8(FP), CX
	VXORPD   Y0, Y0, Y0 // sums
	VXORPD   Y1, Y1, Y1
	VXORPD   Y2, Y2, Y2 // peaks
	VXORPD   Y3, Y3, Y3
	VPCMPEQD Y7, Y7, Y7
	VPSRLQ   $1, Y7, Y7 // all but the sign
	SUBQ     $8, CX
	JLT      fold

eight:
	VMOVUPD     (SI), Y4
	VMOVUPD     32(SI), Y5
	VFMADD231PD Y4, Y4, Y0
	VFMADD231PD Y5, Y5, Y1
	VANDPD      Y7, Y4, Y4
	VANDPD      Y7, Y5, Y5
	VMAXPD      Y4, Y2, Y2
	VMAXPD      Y5, Y3, Y3
	ADDQ        $64, SI
	SUBQ        $8, CX
	JGE         eight

fold:
	VADDPD       Y1, Y0, Y0
	VMAXPD       Y3, Y2, Y2
	VEXTRACTF128 $1, Y0, X1
	VEXTRACTF128 $1, Y2, X3
	VADDPD       X1, X0, X0
	VMAXPD       X3, X2, X2
	VHADDPD      X0, X0, X0
	VUNPCKHPD    X2, X2, X3
	VMAXSD       X3, X2, X2
	ADDQ         $8, CX
	JZ           done

one:
	VMOVSD      (SI), X4
	VFMADD231SD X4, X4, X0
	VANDPD      X7, X4, X4
	VMAXSD      X4, X2, X2
	ADDQ        $8, SI
	DECQ        CX
	JNZ         one

done:
	VMOVSD X0, sumSq+16(FP)
	VMOVSD X2, peak+24(FP)
	VZEROUPPER
	RET

// func slideAVX2(dst *complex128, x, a, b *float64, count, step, n int)
TEXT ·slideAVX2(SB), NOSPLIT, $0-56
	MOVQ dst+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ count+32(FP), R8
	MOVQ step+40(FP), R9
	SHLQ $3, R9              // in bytes
	LEAQ (R9)(R9*2), R10     // three steps
	SUBQ $4, R8
	JLT  singles

batch: // four stretches share what is loaded of the taps
	MOVQ   SI, BX
	MOVQ   a+16(FP), R11
	MOVQ   b+24(FP), R12
	MOVQ   n+48(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7

taps:
	VMOVUPD     (R11), Y8
	VMOVUPD     (R12), Y9
	VMOVUPD     (BX), Y10
	VMOVUPD     (BX)(R9*1), Y11
	VMOVUPD     (BX)(R9*2), Y12
	VMOVUPD     (BX)(R10*1), Y13
	VFMADD231PD Y8, Y10, Y0
	VFMADD231PD Y9, Y10, Y1
	VFMADD231PD Y8, Y11, Y2
	VFMADD231PD Y9, Y11, Y3
	VFMADD231PD Y8, Y12, Y4
	VFMADD231PD Y9, Y12, Y5
	VFMADD231PD Y8, Y13, Y6
	VFMADD231PD Y9, Y13, Y7
	ADDQ        $32, BX
	ADDQ        $32, R11
	ADDQ        $32, R12
	SUBQ        $4, CX
	JNZ         taps

	// Sums of neighbours, then of the halves: a, b for each stretch.
	VHADDPD    Y1, Y0, Y0
	VHADDPD    Y3, Y2, Y2
	VHADDPD    Y5, Y4, Y4
	VHADDPD    Y7, Y6, Y6
	VPERM2F128 $0x20, Y2, Y0, Y1 // low halves of the first two
	VPERM2F128 $0x31, Y2, Y0, Y3 // high halves
	VPERM2F128 $0x20, Y6, Y4, Y5
	VPERM2F128 $0x31, Y6, Y4, Y7
	VADDPD     Y3, Y1, Y1
	VADDPD     Y7, Y5, Y5
	VMOVUPD    Y1, (DI)
	VMOVUPD    Y5, 32(DI)
	ADDQ       $64, DI
	LEAQ       (SI)(R9*4), SI
	SUBQ       $4, R8
	JGE        batch

singles:
	ADDQ $4, R8
	JZ   done

single: // the same sums in the same order
	MOVQ   SI, BX
	MOVQ   a+16(FP), R11
	MOVQ   b+24(FP), R12
	MOVQ   n+48(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

tap:
	VMOVUPD     (BX), Y10
	VFMADD231PD (R11), Y10, Y0
	VFMADD231PD (R12), Y10, Y1
	ADDQ        $32, BX
	ADDQ        $32, R11
	ADDQ        $32, R12
	SUBQ        $4, CX
	JNZ         tap

	VHADDPD      Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VMOVUPD      X0, (DI)
	ADDQ         $16, DI
	ADDQ         R9, SI
	DECQ         R8
	JNZ          single

done:
	VZEROUPPER
	RET
