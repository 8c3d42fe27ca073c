package main

import (
	"context"
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/records/demofarm"
	"caneward/records/entry"
	"caneward/records/sqlite"
	"caneward/tiles"
	"caneward/web"
)

var (
	serving     = words.New("cmd-serving", "caneward serves on {address}", "caneward sirve en {address}")
	demoHead    = words.New("cmd-demo-head", "Invented demo data: not for use in a field. Sign in as grower, applicator, scout or adviser (farm “demo”), or neighbour (farm “demo-two”); the password of each is {password}", "Datos de muestra inventados: no usar en el campo. Entre como grower, applicator, scout o adviser (finca «demo») o neighbour (finca «demo-two»); la contraseña de todos es {password}")
	making      = words.New("cmd-demo-making", "making the demo farm …", "creando la finca de muestra …")
	needData    = words.New("cmd-need-data", "--data names the folder of the records", "--data indica la carpeta de los registros")
	halfTLS     = words.New("cmd-half-tls", "--tls-cert and --tls-key go together, and without --tls-self-signed", "--tls-cert y --tls-key van juntos, y sin --tls-self-signed")
	notLoopback = words.New("cmd-not-loopback", "the demo listens on this machine only (127.0.0.1, ::1 or localhost); {address} is not on it", "la muestra solo escucha en esta máquina (127.0.0.1, ::1 o localhost); {address} no está en ella")
	notEmpty    = words.New("cmd-not-empty", "{dir} is not empty; the demo wants a new folder", "{dir} no está vacía; la muestra necesita una carpeta nueva")
	plainHTTP   = words.New("cmd-plain-http", "Without TLS, browsers on other machines refuse positions and offline work; give --tls-cert and --tls-key or --tls-self-signed, or put a proxy with TLS in front.", "Sin TLS, los navegadores de otras máquinas no dan posición ni trabajan sin señal; indique --tls-cert y --tls-key o --tls-self-signed, o ponga delante un proxy con TLS.")
)

const defaultListen = "127.0.0.1:8080"

func serve(ctx context.Context, s *session, args []string) error {
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	data := flags.String("data", "", "")
	listen := flags.String("listen", defaultListen, "")
	cert := flags.String("tls-cert", "", "")
	key := flags.String("tls-key", "", "")
	base := flags.String("base-map", "", "")
	selfSigned := flags.Bool("tls-self-signed", false, "")
	public := flags.String("public-url", "", "")
	var proxies, metricsTo addresses
	flags.Var(&proxies, "proxy", "")
	flags.Var(&metricsTo, "metrics-to", "")
	var copies copying
	copies.flags(flags)
	if _, err := parse(flags, args, 0); err != nil {
		return err
	}
	if *data == "" {
		return usageError{needData.Plain()}
	}
	if (*cert == "") != (*key == "") || *cert != "" && *selfSigned {
		return usageError{halfTLS.Plain()}
	}
	if err := copies.check(); err != nil {
		return err
	}
	baseMap, err := openBase(*base)
	if err != nil {
		return err
	}
	store, err := sqlite.Open(ctx, *data, sqlite.Options{})
	if err != nil {
		return err
	}
	defer store.Close()
	s.tellOpening(store.Opening())
	state, stop, err := copies.start(ctx, *data, logger(s))
	if err != nil {
		return err
	}
	defer stop() // before the store closes
	pair, err := serverCertificate(s, *data, *listen, *cert, *key, *selfSigned)
	if err != nil {
		return err
	}
	if pair == nil && !loopback(*listen) {
		fmt.Fprintln(s.talk, plainHTTP.Plain().In(s.language))
	}
	secret, err := secretKey(*data)
	if err != nil {
		return err
	}
	return answer(ctx, s, store, *listen, web.Config{
		Proxies: proxies, MetricsTo: metricsTo, SecretKey: secret,
		BaseMap: baseMap, Copies: state, PublicURL: *public, Secure: pair != nil || strings.HasPrefix(*public, "https://"),
	}, pair)
}

// serverCertificate is what the server shows, nil without TLS.
func serverCertificate(s *session, dir, listen, certFile, keyFile string, selfSigned bool) (*tls.Certificate, error) {
	switch {
	case certFile != "":
		pair, err := tls.LoadX509KeyPair(certFile, keyFile)
		return &pair, err
	case selfSigned:
		names, err := ownNames(listen)
		if err != nil {
			return nil, err
		}
		pair, file, sum, err := ownCertificate(dir, names, time.Now())
		if err != nil {
			return nil, err
		}
		fmt.Fprintln(s.talk, howToTrust.With(words.Args{"file": file, "sum": fmt.Sprintf("% X", sum)}).In(s.language))
		return &pair, nil
	}
	return nil, nil
}

func openBase(where string) (tiles.BaseMap, error) {
	if where == "" {
		return nil, nil
	}
	return tiles.OpenBaseMap(where)
}

// answer listens and serves until the context ends.
func answer(ctx context.Context, s *session, store *sqlite.Store, listen string, config web.Config, pair *tls.Certificate) error {
	listener, err := net.Listen("tcp", listen)
	if err != nil {
		return err
	}
	config.Store = store
	config.Desk = &entry.Desk{Store: store}
	config.Version = version
	config.Logger = logger(s)
	handler, err := web.New(config)
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	scheme := "http://"
	var secured *tls.Config
	if pair != nil {
		scheme = "https://"
		secured = &tls.Config{Certificates: []tls.Certificate{*pair}, MinVersion: tls.VersionTLS12}
	}
	fmt.Fprintln(s.out, serving.With(words.Args{"address": scheme + listener.Addr().String()}).In(s.language))
	defer handler.Close() // before the store is
	tending, stop := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		handler.Tend(tending)
	}()
	defer func() { stop(); <-ended }()
	return web.Serve(ctx, listener, handler, secured)
}

func logger(s *session) *slog.Logger {
	return slog.New(slog.NewTextHandler(s.talk, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

func demo(ctx context.Context, s *session, args []string) (err error) {
	flags := flag.NewFlagSet("demo", flag.ContinueOnError)
	listen := flags.String("listen", defaultListen, "")
	data := flags.String("data", "", "")
	base := flags.String("base-map", "", "")
	if _, err := parse(flags, args, 0); err != nil {
		return err
	}
	if !loopback(*listen) {
		return usageError{notLoopback.With(words.Args{"address": *listen})}
	}
	dir := *data
	if dir == "" {
		if dir, err = os.MkdirTemp("", "caneward-demo-"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	} else if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return usageError{notEmpty.With(words.Args{"dir": dir})}
	}
	baseMap, err := openBase(*base)
	if err != nil {
		return err
	}
	store, err := sqlite.Open(ctx, dir, sqlite.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	fmt.Fprintln(s.talk, making.Plain().In(s.language))
	if err := demofarm.Build(ctx, store); err != nil {
		return err
	}
	fmt.Fprintln(s.out, demoHead.With(words.Args{"password": demofarm.Password}).In(s.language))
	return answer(ctx, s, store, *listen, web.Config{BaseMap: baseMap}, nil)
}

func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
