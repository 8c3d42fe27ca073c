package main

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

	"caneward/blocks/words"
)

var howToTrust = words.New("cmd-how-to-trust",
	`Certificate of this server, made here: {file}
SHA-256 {sum}
A phone trusts it once the file is installed on it as a certificate authority (Android: Settings, Security, Encryption, Install a certificate, CA certificate;
iPhone and iPad: open the file, install the profile in Settings, then Settings, General, About, Certificate Trust Settings). Compare the SHA-256 on the phone first.
Bring the file over by cable or mail; never install one that came from somebody else.`,
	`Certificado de este servidor, hecho aquí: {file}
SHA-256 {sum}
Un teléfono confía en él cuando el archivo se instala como autoridad de certificación (Android: Ajustes, Seguridad, Cifrado, Instalar un certificado, Certificado CA;
iPhone y iPad: abra el archivo, instale el perfil en Ajustes y después Ajustes, General, Información, Configuración de confianza). Compare antes el SHA-256 en el teléfono.
Lleve el archivo por cable o por correo; nunca instale uno que venga de otra persona.`)

// Lives of the two certificates: phones refuse server certificates that run
// longer than 398 days (CA/Browser Forum Baseline Requirements 6.3.2); the
// authority is installed by hand on every phone and should stay.
const (
	authorityLife = 10 * 365 * 24 * time.Hour
	serverLife    = 397 * 24 * time.Hour
	renewBefore   = 30 * 24 * time.Hour
)

// ownCertificate gives a certificate for this machine's names, signed by an
// authority of its own that is kept in the folder and made when it is not there.
// file is the authority's certificate, which phones install.
func ownCertificate(dir string, names []string, now time.Time) (pair tls.Certificate, file string, sum [32]byte, err error) {
	dir = filepath.Join(dir, "tls")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return pair, "", sum, err
	}
	file = filepath.Join(dir, "authority.crt")
	authority, key, err := readAuthority(file, filepath.Join(dir, "authority.key"))
	if errors.Is(err, fs.ErrNotExist) {
		authority, key, err = makeAuthority(file, filepath.Join(dir, "authority.key"), now)
	}
	if err != nil {
		return pair, "", sum, err
	}
	if now.After(authority.NotAfter.Add(-renewBefore)) {
		return pair, "", sum, fmt.Errorf("%s runs out on %s; move it and its key away to have new ones made", file, authority.NotAfter.Format(time.DateOnly))
	}
	pair, err = signServer(authority, key, names, now)
	return pair, file, sha256.Sum256(authority.Raw), err
}

func readAuthority(certFile, keyFile string) (*x509.Certificate, *ecdsa.PrivateKey, error) {
	pair, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, nil, err
	}
	key, ok := pair.PrivateKey.(*ecdsa.PrivateKey)
	if !ok {
		return nil, nil, fmt.Errorf("%s holds another kind of key than was made here", keyFile)
	}
	return pair.Leaf, key, nil
}

func makeAuthority(certFile, keyFile string, now time.Time) (*x509.Certificate, *ecdsa.PrivateKey, error) {
	host, err := os.Hostname()
	if err != nil {
		return nil, nil, err
	}
	template := &x509.Certificate{
		Subject: pkix.Name{CommonName: "caneward on " + host}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(authorityLife),
		KeyUsage: x509.KeyUsageCertSign, BasicConstraintsValid: true, IsCA: true, MaxPathLenZero: true,
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	raw, err := sign(template, template, key, key)
	if err != nil {
		return nil, nil, err
	}
	packed, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, nil, err
	}
	// The key first: a certificate without its key would never be replaced.
	if err := writePEM(keyFile, "PRIVATE KEY", packed); err != nil {
		return nil, nil, err
	}
	if err := writePEM(certFile, "CERTIFICATE", raw); err != nil {
		return nil, nil, err
	}
	authority, err := x509.ParseCertificate(raw)
	return authority, key, err
}

// signServer makes the certificate that is served; it lives in memory only and
// is made anew at each start.
func signServer(authority *x509.Certificate, by *ecdsa.PrivateKey, names []string, now time.Time) (tls.Certificate, error) {
	template := &x509.Certificate{
		Subject: pkix.Name{CommonName: names[0]}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(serverLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	for _, name := range names {
		if ip := net.ParseIP(name); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, name)
		}
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, err
	}
	raw, err := sign(template, authority, key, by)
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.Certificate{Certificate: [][]byte{raw, authority.Raw}, PrivateKey: key}, nil
}

func sign(template, parent *x509.Certificate, key, by *ecdsa.PrivateKey) ([]byte, error) {
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, err
	}
	template.SerialNumber = serial
	return x509.CreateCertificate(rand.Reader, template, parent, &key.PublicKey, by)
}

func writePEM(path, kind string, raw []byte) error {
	return os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: raw}), 0o600)
}

// ownNames are what this machine is called on its networks: the host given to
// listen on, or every name and address where that is all of them.
func ownNames(listen string) ([]string, error) {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return nil, err
	}
	if ip := net.ParseIP(host); host != "" && (ip == nil || !ip.IsUnspecified()) {
		return []string{host}, nil
	}
	name, err := os.Hostname()
	if err != nil {
		return nil, err
	}
	names := []string{name, "localhost"}
	if !strings.Contains(name, ".") {
		names = append(names, name+".local") // RFC 6762: how phones find it without a name server
	}
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return nil, err
	}
	for _, a := range addresses {
		if on, ok := a.(*net.IPNet); ok && !on.IP.IsLinkLocalUnicast() {
			names = append(names, on.IP.String())
		}
	}
	return names, nil
}
