package capture

import "testing"

// TestCRC: the check values for "123456789" in Greg Cook's catalogue of
// parametrised CRC algorithms: CRC-8/SMBUS and CRC-16/UMTS, which are FLAC's
// polynomials from zero without reflection.
func TestCRC(t *testing.T) {
	check := []byte("123456789")
	if got := crc8(check); got != 0xf4 {
		t.Errorf("CRC-8 is %#x, want 0xf4", got)
	}
	for split := range check {
		if got := crc16(crc16(0, check[:split]), check[split:]); got != 0xfee8 {
			t.Errorf("CRC-16 split at %d is %#x, want 0xfee8", split, got)
		}
	}
}
