package phone

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"
)

const (
	devicesName = "devices.json"
	mostDevices = 32
	mostName    = 40 // runes
)

// Device is a phone or tablet that has joined.
type Device struct {
	ID     string    `json:"id"` // to send it away by
	Name   string    `json:"name"`
	Joined time.Time `json:"joined"`
	Token  string    `json:"token_sha256"` // of its token, in hexadecimal
}

// devices is the list as it stands in the file.
type devices struct {
	path string
	list []Device
}

func loadDevices(dir string) (*devices, error) {
	d := &devices{path: filepath.Join(dir, devicesName)}
	data, err := os.ReadFile(d.path)
	if errors.Is(err, fs.ErrNotExist) {
		return d, nil
	}
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(data, &d.list); err != nil {
		return nil, fmt.Errorf("%s is no list of devices (%w): remove the file, and let the phones join again", d.path, err)
	}
	return d, nil
}

func (d *devices) save(list []Device) error {
	data, err := json.MarshalIndent(list, "", "  ")
	if err == nil {
		err = writeFile(d.path, data)
	}
	if err == nil {
		d.list = list
	}
	return err
}

// add lists a device and returns its token, which is not kept.
func (d *devices) add(name string, now time.Time) (token string, err error) {
	if len(d.list) >= mostDevices {
		return "", fmt.Errorf("%d devices have joined, and no more can: send one away at the bench", mostDevices)
	}
	var secret [32]byte
	var id [6]byte
	rand.Read(secret[:]) //nolint:errcheck // documented never to fail
	rand.Read(id[:])     //nolint:errcheck // documented never to fail
	token = base64.RawURLEncoding.EncodeToString(secret[:])
	return token, d.save(append(slices.Clone(d.list), Device{ID: hex.EncodeToString(id[:]), Name: tidyName(name), Joined: now.UTC(), Token: hashOf(token)}))
}

// find is the device of a token. Hashes are compared, so time tells nothing of tokens.
func (d *devices) find(token string) (Device, bool) {
	want := hashOf(token)
	i := slices.IndexFunc(d.list, func(x Device) bool { return x.Token == want })
	if token == "" || i < 0 {
		return Device{}, false
	}
	return d.list[i], true
}

func (d *devices) remove(id string) error {
	list := slices.DeleteFunc(slices.Clone(d.list), func(x Device) bool { return x.ID == id })
	if len(list) == len(d.list) {
		return fmt.Errorf("no device %q has joined", id)
	}
	return d.save(list)
}

func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// tidyName keeps what is printed of a name, and not too much of it.
func tidyName(s string) string {
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "")))
	if r := []rune(s); len(r) > mostName {
		s = strings.TrimSpace(string(r[:mostName]))
	}
	if s == "" {
		return "a phone"
	}
	return s
}
