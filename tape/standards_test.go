package tape_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/tape"
)

// IASA TC-04, clause 5.4.10, Table 1 (the rows marked re-read); the rest from memory or
// practice notes, as the table says row by row.
func TestStandardsAgainstTable(t *testing.T) {
	tab := readTable(t, "04_playback_eq_time_constants.csv")
	all := tape.Standards()
	if len(all) != len(tab.rows) {
		t.Fatalf("%d standards, table has %d", len(all), len(tab.rows))
	}
	for row := range tab.rows {
		i := slices.IndexFunc(all, func(s tape.Standard) bool { return s.ID == tab.text(row, "id") })
		if i < 0 {
			t.Errorf("no standard %s", tab.text(row, "id"))
			continue
		}
		s := all[i]
		if s.Name != tab.text(row, "standard") || s.State != tab.text(row, "state") {
			t.Errorf("%s: name %q, state %q", s.ID, s.Name, s.State)
		}
		if medium := strings.ReplaceAll(tab.text(row, "medium"), " ", "-"); !strings.HasPrefix(medium, s.Medium) || s.Medium == "" {
			t.Errorf("%s: medium %q, want %q", s.ID, s.Medium, medium)
		}
		if math.Abs(s.SpeedCmS-100*tab.speed(row, "speed_cm_per_s")) > 1e-9 {
			t.Errorf("%s: %v cm/s", s.ID, s.SpeedCmS)
		}
		tab.near(row, "t_hf_us", s.Equalisation.HighUs, 0, 1e-12)
		tab.near(row, "hf_transition_hz", float64(s.Equalisation.TrebleTurnover()), 0.01, 0)
		if math.IsInf(tab.number(row, "t_lf_us"), 1) {
			if s.Equalisation.LowUs != 0 || s.Equalisation.BassTurnover() != 0 {
				t.Errorf("%s: a bass time constant %v µs where the table has none", s.ID, s.Equalisation.LowUs)
			}
		} else {
			tab.near(row, "t_lf_us", s.Equalisation.LowUs, 0, 1e-12)
			tab.near(row, "lf_transition_hz", float64(s.Equalisation.BassTurnover()), 0.01, 0)
		}
		if origin := tab.text(row, "number_origin"); strings.Contains(s.Source, "IASA") != (origin == "re-read") || (s.Source == "from memory") != (origin == "from memory") {
			t.Errorf("%s: source %q for origin %q", s.ID, s.Source, origin)
		}
	}
}

// The curve of every standard, through its list entry, against the second table.
func TestStandardsFluxAgainstTable(t *testing.T) {
	byID := map[string]tape.Standard{}
	for _, s := range tape.Standards() {
		byID[s.ID] = s
	}
	tab := readTable(t, "04_playback_eq_flux_levels.csv")
	seen := map[string]bool{}
	for row := range tab.rows {
		id := tab.text(row, "id")
		seen[id] = true
		tab.near(row, "flux_db", float64(byID[id].Equalisation.FluxDB(tab.hertz(row))), 0.01, 0)
	}
	if len(seen) != len(byID) {
		t.Errorf("table has %d standards, list %d", len(seen), len(byID))
	}
}

func TestStandardsAt(t *testing.T) {
	for _, c := range []struct {
		speed  float64
		medium string
		want   []string
	}{
		// Speeds as labels print them.
		{9.5, "cassette", []string{"cassette_9.53_120", "cassette_9.53_70"}},
		{9.53, "cassette", []string{"cassette_9.53_120", "cassette_9.53_70"}},
		{4.75, "open-reel", []string{"reel_4.76"}},
		{4.8, "", []string{"cassette_4.76_type1", "cassette_4.76_type2_4", "cassette_4.76_old", "reel_4.76"}},
		{38, "open-reel", []string{"reel_38.1_iec1", "reel_38.1_nab_iec2"}},
		{76.2, "open-reel", []string{"reel_76.2_aes_iec2", "reel_76.2_ccir"}},
		{38.1, "cassette", nil}, {9.4, "", nil}, {9.65, "", nil}, {12, "", nil}, {0, "", nil}, {-9.5, "", nil}, {math.NaN(), "", nil}, {math.Inf(1), "", nil},
	} {
		var got []string
		for _, s := range tape.StandardsAt(c.speed, c.medium) {
			got = append(got, s.ID)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%v cm/s, %q: %v, want %v", c.speed, c.medium, got, c.want)
		}
	}
}

// What a caller does to its slice stays with the caller.
func TestListsAreCopies(t *testing.T) {
	tape.Standards()[0].ID = "changed"
	tape.ReferenceFluxivities()[0].Use = "changed"
	if tape.Standards()[0].ID == "changed" || tape.ReferenceFluxivities()[0].Use == "changed" {
		t.Error("a caller's change shows in the package's list")
	}
}

// Current standards of a speed and medium come before the others.
func TestStandardsOrder(t *testing.T) {
	all := tape.Standards()
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		switch {
		case a.Medium != b.Medium:
			if a.Medium > b.Medium {
				t.Errorf("%s before %s", a.ID, b.ID)
			}
		case a.SpeedCmS > b.SpeedCmS, a.SpeedCmS == b.SpeedCmS && a.State == "historical" && b.State == "current":
			t.Errorf("%s before %s", a.ID, b.ID)
		}
	}
}

// Level lists of the trade, IEC 60094-2 (250 and 320), McKnight, Cortez, McKnight, JAES
// 46(9), 1998 (288): as the table says row by row.
func TestReferencesAgainstTable(t *testing.T) {
	tab := readTable(t, "05_reference_fluxivity.csv")
	all := tape.ReferenceFluxivities()
	if len(all) != len(tab.rows) {
		t.Fatalf("%d references, table has %d", len(all), len(tab.rows))
	}
	for row, r := range all {
		tab.near(row, "fluxivity_nwb_per_m", float64(r.Level), 0, 1e-12)
		if r.Use != tab.text(row, "use") {
			t.Errorf("%v nWb/m: use %q, want %q", r.Level, r.Use, tab.text(row, "use"))
		}
		if strings.Contains(tab.text(row, "number_origin"), "memory") != strings.Contains(r.Source, "memory") || r.Source == "" {
			t.Errorf("%v nWb/m: source %q for %q", r.Level, r.Source, tab.text(row, "number_origin"))
		}
		if row > 0 && !(all[row-1].Level < r.Level) {
			t.Errorf("%v nWb/m follows %v", r.Level, all[row-1].Level)
		}
	}
}
