package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"net/netip"
	"os"
	"path/filepath"

	"caneward/blocks/words"
	"caneward/records/people"
)

var badAddress = words.New("cmd-bad-address", "{address} is no address or network such as 127.0.0.1 or 10.0.0.0/8", "{address} no es una dirección ni una red como 127.0.0.1 o 10.0.0.0/8")

// addresses are those of a flag that may stand several times.
type addresses []netip.Prefix

func (a *addresses) String() string { return fmt.Sprint([]netip.Prefix(*a)) }

// Set takes an address or a network.
func (a *addresses) Set(text string) error {
	p, err := netip.ParsePrefix(text)
	if err != nil {
		one, single := netip.ParseAddr(text)
		if single != nil {
			return usageError{badAddress.With(words.Args{"address": text})}
		}
		p = netip.PrefixFrom(one, one.BitLen())
	}
	*a = append(*a, p.Masked())
	return nil
}

// secretFile holds the key that second factors are sealed with. It stands beside
// the records and in none of their copies, so that a copy alone gives no codes.
const secretFile = "sign-in.key"

// secretKey reads the key of a folder, and makes it the first time.
func secretKey(dir string) ([]byte, error) {
	path := filepath.Join(dir, secretFile)
	key, err := os.ReadFile(path)
	if err == nil && len(key) != people.SecretKeyBytes {
		return nil, fmt.Errorf("%s is not a key of %d bytes", path, people.SecretKeyBytes)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	key = make([]byte, people.SecretKeyBytes)
	rand.Read(key)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	_, err = f.Write(key)
	return key, errors.Join(err, f.Sync(), f.Close())
}
