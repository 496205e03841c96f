#include "textflag.h"

// func pcm24AVX2(dst *float64, src *byte, stride, quads int)
//
// Four samples at a time: each is loaded with the byte behind it, which the shift drops.
TEXT ·pcm24AVX2(SB), NOSPLIT, $0-32
	MOVQ  dst+0(FP), DI
	MOVQ  src+8(FP), SI
	MOVQ  stride+16(FP), BX
	MOVQ  quads+24(FP), CX
	LEAQ  (BX)(BX*2), DX
	MOVQ  $0x3e00000000000000, AX // 1/2³¹
	MOVQ  AX, X15
	VPBROADCASTQ X15, Y15

quad:
	VMOVD     (SI), X0
	VPINSRD   $1, (SI)(BX*1), X0, X0
	VMOVD     (SI)(BX*2), X1
	VPINSRD   $1, (SI)(DX*1), X1, X1
	VPUNPCKLQDQ X1, X0, X0
	VPSLLD    $8, X0, X0
	VCVTDQ2PD X0, Y0
	VMULPD    Y15, Y0, Y0
	VMOVUPD   Y0, (DI)
	LEAQ      (SI)(BX*4), SI
	ADDQ      $32, DI
	DECQ      CX
	JNZ       quad

	VZEROUPPER
	RET
