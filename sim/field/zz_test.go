package field_test

import "strconv"

func fmtAppend(x float64) []byte { return strconv.AppendFloat(nil, x, 'f', 2, 64) }
