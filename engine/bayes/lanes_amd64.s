#include "textflag.h"

// Each function does what its namesake in lanes.go does, in the same order. An entry of eight lanes is 64 bytes, in two
// registers of four lanes each.

// func hasAVX() bool
TEXT ·hasAVX(SB), NOSPLIT, $0-1
	MOVL $1, AX
	XORL CX, CX
	CPUID
	ANDL $(1<<27|1<<28), CX // the system saves registers, and there is AVX
	CMPL CX, $(1<<27|1<<28)
	JNE  no
	XORL CX, CX
	XGETBV
	ANDL $6, AX // it saves those of AVX too
	CMPL AX, $6
	JNE  no
	MOVB $1, ret+0(FP)
	RET

no:
	MOVB $0, ret+0(FP)
	RET

// func crossRowsAVX(dst, src []lanes, table []float64, enter, leave []int32, stepIn, stepOut int)
TEXT ·crossRowsAVX(SB), NOSPLIT, $0-136
	MOVQ dst_base+0(FP), DI
	MOVQ src_base+24(FP), SI
	MOVQ table_base+48(FP), R8  // first entry of the rows at hand
	MOVQ enter_base+72(FP), R12
	MOVQ leave_base+96(FP), R13
	MOVQ leave_len+104(FP), BX // rows left
	MOVQ stepIn+120(FP), R10
	MOVQ stepOut+128(FP), R11
	SHLQ $3, R10
	SHLQ $3, R11

four:
	CMPQ BX, $4
	JLT  one
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7
	MOVQ enter_len+80(FP), CX
	MOVQ R12, R9             // entries of enter
	MOVQ R8, AX              // column of the first row
	LEAQ (R8)(R11*2), DX     // of the third

fourColumns:
	TESTQ CX, CX
	JZ    fourDone
	MOVLQSX (R9), R14
	SHLQ    $6, R14
	VMOVUPD (SI)(R14*1), Y8
	VMOVUPD 32(SI)(R14*1), Y9
	VBROADCASTSD (AX), Y10
	VMULPD Y8, Y10, Y11
	VMULPD Y9, Y10, Y12
	VADDPD Y11, Y0, Y0
	VADDPD Y12, Y1, Y1
	VBROADCASTSD (AX)(R11*1), Y13
	VMULPD Y8, Y13, Y14
	VMULPD Y9, Y13, Y15
	VADDPD Y14, Y2, Y2
	VADDPD Y15, Y3, Y3
	VBROADCASTSD (DX), Y10
	VMULPD Y8, Y10, Y11
	VMULPD Y9, Y10, Y12
	VADDPD Y11, Y4, Y4
	VADDPD Y12, Y5, Y5
	VBROADCASTSD (DX)(R11*1), Y13
	VMULPD Y8, Y13, Y14
	VMULPD Y9, Y13, Y15
	VADDPD Y14, Y6, Y6
	VADDPD Y15, Y7, Y7
	ADDQ R10, AX
	ADDQ R10, DX
	ADDQ $4, R9
	DECQ CX
	JMP  fourColumns

fourDone:
	MOVLQSX (R13), R14
	SHLQ    $6, R14
	VADDPD  (DI)(R14*1), Y0, Y0
	VADDPD  32(DI)(R14*1), Y1, Y1
	VMOVUPD Y0, (DI)(R14*1)
	VMOVUPD Y1, 32(DI)(R14*1)
	MOVLQSX 4(R13), R14
	SHLQ    $6, R14
	VADDPD  (DI)(R14*1), Y2, Y2
	VADDPD  32(DI)(R14*1), Y3, Y3
	VMOVUPD Y2, (DI)(R14*1)
	VMOVUPD Y3, 32(DI)(R14*1)
	MOVLQSX 8(R13), R14
	SHLQ    $6, R14
	VADDPD  (DI)(R14*1), Y4, Y4
	VADDPD  32(DI)(R14*1), Y5, Y5
	VMOVUPD Y4, (DI)(R14*1)
	VMOVUPD Y5, 32(DI)(R14*1)
	MOVLQSX 12(R13), R14
	SHLQ    $6, R14
	VADDPD  (DI)(R14*1), Y6, Y6
	VADDPD  32(DI)(R14*1), Y7, Y7
	VMOVUPD Y6, (DI)(R14*1)
	VMOVUPD Y7, 32(DI)(R14*1)
	LEAQ (R8)(R11*4), R8
	ADDQ $16, R13
	SUBQ $4, BX
	JMP  four

one:
	TESTQ BX, BX
	JZ    done
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	MOVQ enter_len+80(FP), CX
	MOVQ R12, R9
	MOVQ R8, AX

oneColumn:
	TESTQ CX, CX
	JZ    oneDone
	MOVLQSX (R9), R14
	SHLQ    $6, R14
	VBROADCASTSD (AX), Y10
	VMULPD (SI)(R14*1), Y10, Y11
	VMULPD 32(SI)(R14*1), Y10, Y12
	VADDPD Y11, Y0, Y0
	VADDPD Y12, Y1, Y1
	ADDQ R10, AX
	ADDQ $4, R9
	DECQ CX
	JMP  oneColumn

oneDone:
	MOVLQSX (R13), R14
	SHLQ    $6, R14
	VADDPD  (DI)(R14*1), Y0, Y0
	VADDPD  32(DI)(R14*1), Y1, Y1
	VMOVUPD Y0, (DI)(R14*1)
	VMOVUPD Y1, 32(DI)(R14*1)
	ADDQ R11, R8
	ADDQ $4, R13
	DECQ BX
	JMP  one

done:
	VZEROUPPER
	RET

// func gatherPairsAVX(dst, src []lanes, rows []row, in []int32, value []float64)
TEXT ·gatherPairsAVX(SB), NOSPLIT, $0-120
	MOVQ dst_base+0(FP), DI
	MOVQ src_base+24(FP), SI
	MOVQ rows_base+48(FP), R8
	MOVQ rows_len+56(FP), BX
	MOVQ in_base+72(FP), R12
	MOVQ value_base+96(FP), R13
	XORQ CX, CX // pair

gatherRow:
	TESTQ BX, BX
	JZ    gatherDone
	MOVLQSX (R8), R9   // out
	MOVLQSX 4(R8), R10 // end
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

gatherPair:
	CMPQ CX, R10
	JGE  gatherRowDone
	MOVLQSX (R12)(CX*4), R14
	SHLQ    $6, R14
	VBROADCASTSD (R13)(CX*8), Y2
	VMULPD (SI)(R14*1), Y2, Y3
	VMULPD 32(SI)(R14*1), Y2, Y4
	VADDPD Y3, Y0, Y0
	VADDPD Y4, Y1, Y1
	INCQ CX
	JMP  gatherPair

gatherRowDone:
	SHLQ    $6, R9
	VADDPD  (DI)(R9*1), Y0, Y0
	VADDPD  32(DI)(R9*1), Y1, Y1
	VMOVUPD Y0, (DI)(R9*1)
	VMOVUPD Y1, 32(DI)(R9*1)
	ADDQ $8, R8
	DECQ BX
	JMP  gatherRow

gatherDone:
	VZEROUPPER
	RET

// func scatterPairsAVX(dst, src []lanes, rows []row, in []int32, value []float64)
TEXT ·scatterPairsAVX(SB), NOSPLIT, $0-120
	MOVQ dst_base+0(FP), DI
	MOVQ src_base+24(FP), SI
	MOVQ rows_base+48(FP), R8
	MOVQ rows_len+56(FP), BX
	MOVQ in_base+72(FP), R12
	MOVQ value_base+96(FP), R13
	XORQ CX, CX // pair

scatterRow:
	TESTQ BX, BX
	JZ    scatterDone
	MOVLQSX (R8), R9   // out
	MOVLQSX 4(R8), R10 // end
	SHLQ    $6, R9
	VMOVUPD (SI)(R9*1), Y0
	VMOVUPD 32(SI)(R9*1), Y1

scatterPair:
	CMPQ CX, R10
	JGE  scatterRowDone
	MOVLQSX (R12)(CX*4), R14
	SHLQ    $6, R14
	VBROADCASTSD (R13)(CX*8), Y2
	VMULPD  Y0, Y2, Y3
	VMULPD  Y1, Y2, Y4
	VADDPD  (DI)(R14*1), Y3, Y3
	VADDPD  32(DI)(R14*1), Y4, Y4
	VMOVUPD Y3, (DI)(R14*1)
	VMOVUPD Y4, 32(DI)(R14*1)
	INCQ CX
	JMP  scatterPair

scatterRowDone:
	ADDQ $8, R8
	DECQ BX
	JMP  scatterRow

scatterDone:
	VZEROUPPER
	RET

// func sumLanesAVX(m []lanes, total *lanes)
TEXT ·sumLanesAVX(SB), NOSPLIT, $0-32
	MOVQ m_base+0(FP), SI
	MOVQ m_len+8(FP), CX
	MOVQ total+24(FP), DI
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

sum:
	TESTQ CX, CX
	JZ    summed
	VADDPD (SI), Y0, Y0
	VADDPD 32(SI), Y1, Y1
	ADDQ $64, SI
	DECQ CX
	JMP  sum

summed:
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	VZEROUPPER
	RET
