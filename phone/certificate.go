package phone

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"
)

const (
	certificateName = "certificate.pem"
	certificateLife = 397 * 24 * time.Hour // browsers refuse longer ones: CA/Browser Forum Baseline Requirements 6.3.2, from memory
	renewBefore     = 30 * 24 * time.Hour
)

// certificate is the one of the folder, made anew when there is none, when it does not
// name the addresses, or when it ends soon.
func certificate(dir string, addresses []net.IP, now time.Time) (tls.Certificate, error) {
	path := filepath.Join(dir, certificateName)
	data, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return tls.Certificate{}, err
	}
	if err == nil {
		c, err := tls.X509KeyPair(data, data)
		if err == nil && holds(c.Leaf, addresses, now) {
			return c, nil
		}
	}
	data, err = makeCertificate(addresses, now)
	if err != nil {
		return tls.Certificate{}, err
	}
	if err := writeFile(path, data); err != nil {
		return tls.Certificate{}, err
	}
	return tls.X509KeyPair(data, data)
}

func holds(c *x509.Certificate, addresses []net.IP, now time.Time) bool {
	if c == nil || now.Before(c.NotBefore) || now.Add(renewBefore).After(c.NotAfter) {
		return false
	}
	for _, a := range addresses {
		if c.VerifyHostname(a.String()) != nil {
			return false
		}
	}
	return true
}

// makeCertificate is a key and its own signature under it, both as PEM.
func makeCertificate(addresses []net.IP, now time.Time) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return nil, err
	}
	t := x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "headstack bench"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(certificateLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true, IPAddresses: addresses,
	}
	der, err := x509.CreateCertificate(rand.Reader, &t, &t, &key.PublicKey, key)
	if err != nil {
		return nil, err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private})...), nil
}

// fingerprint is the SHA-256 of a certificate as browsers show it.
func fingerprint(c tls.Certificate) string {
	sum := sha256.Sum256(c.Certificate[0])
	return strings.ReplaceAll(fmt.Sprintf("% X", sum[:]), " ", ":")
}

// writeFile replaces a file that only its owner reads, whole or not at all.
func writeFile(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // mode 0600
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name()) //nolint:errcheck // the first error says what went wrong
	}
	return err
}
