package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"net/http"
	"path"
	"strings"
	"time"
)

//go:embed static
var staticFiles embed.FS

type asset struct {
	data        []byte
	contentType string
}

// assets are the embedded files under names that carry a hash of their bytes:
// "bench.3f2a91c0.css". They may be cached for ever; a new version has a new name.
var assets, assetNames = loadAssets()

func loadAssets() (map[string]asset, map[string]string) {
	types := map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
	byName, names := map[string]asset{}, map[string]string{}
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		panic("web: " + err.Error())
	}
	for _, e := range entries {
		data, err := staticFiles.ReadFile("static/" + e.Name())
		if err != nil {
			panic("web: " + err.Error())
		}
		sum := sha256.Sum256(data)
		ext := path.Ext(e.Name())
		hashed := fmt.Sprintf("%s.%s%s", strings.TrimSuffix(e.Name(), ext), hex.EncodeToString(sum[:4]), ext)
		byName[hashed] = asset{data, types[ext]}
		names[e.Name()] = "/static/" + hashed
	}
	return byName, names
}

// assetURL is the address of an embedded file; a name that is not there is a
// mistake in a template.
func assetURL(name string) (string, error) {
	if u, ok := assetNames[name]; ok {
		return u, nil
	}
	return "", fmt.Errorf("no embedded file %q", name)
}

func serveAsset(w http.ResponseWriter, r *http.Request) {
	a, ok := assets[r.PathValue("name")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", a.contentType)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(a.data))
}
