package signature

import "encoding/json"

// MarshalJSON writes the parameter with a null track where it belongs to none.
func (p Parameter) MarshalJSON() ([]byte, error) {
	var track *int
	if p.Track > 0 {
		track = &p.Track
	}
	return json.Marshal(struct {
		Name  string  `json:"name"`
		Track *int    `json:"track"`
		Value float64 `json:"value"`
		Unit  string  `json:"unit"`
		Lo    float64 `json:"lo"`
		Hi    float64 `json:"hi"`
	}{p.Name, track, p.Value, p.Unit, p.Lo, p.Hi})
}

// UnmarshalJSON reads that form.
func (p *Parameter) UnmarshalJSON(data []byte) error {
	var in struct {
		Name          string
		Track         *int
		Value, Lo, Hi float64
		Unit          string
	}
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*p = Parameter{Name: in.Name, Value: in.Value, Unit: in.Unit, Lo: in.Lo, Hi: in.Hi}
	if in.Track != nil {
		p.Track = *in.Track
	}
	return nil
}
