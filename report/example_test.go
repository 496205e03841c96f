package report_test

import (
	"fmt"
	"os"
	"strings"

	"headstack/measure"
	"headstack/report"
)

func ExampleTables() {
	for _, t := range report.Tables([]measure.Result{
		{Name: "speed_error", Value: 0.412, Lo: 0.404, Hi: 0.42, Unit: "%"},
		{Name: "response", Track: 3, ToneHz: 63, Unit: "dB", Refused: "tone absent"},
	}) {
		plain := strings.NewReplacer("\u2009", " ") // thin spaces
		plain.WriteString(os.Stdout, fmt.Sprintln(t.Title, t.RowHead, t.Rows[0].Label, t.Columns[0]+":", t.Rows[0].Cells[0].Value, t.Rows[0].Cells[0].Text))
	}
	// Output:
	// Response track 3 63 Hz:  not measured: tone absent
	// Speed error track all all sections: +0.4120 % +0.4120 ±0.0080 %
}
