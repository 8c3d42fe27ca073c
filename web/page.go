package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"sync"

	"caneward/blocks/fault"
)

// page is the built page with its files, held in memory.
type page struct {
	files map[string]*pageFile // by path below the root, without a slash in front
}

type pageFile struct {
	data   []byte
	kind   string
	etag   string
	packed func() []byte // gzip, made when first asked for; nil where it does not pay
}

const indexName = "index.html"

// workerName is the worker that opens the page without a network. Browsers ask
// at this address whether there is a newer page.
const workerName = "sw.js"

// notBuilt stands in for a page that was not built into this binary.
const notBuilt = "<!doctype html><html lang=\"en\"><title>caneward</title><p>The page is not in this program. Build it with: make build</p></html>\n"

func newPage(from fs.FS) (*page, error) {
	if from == nil {
		sub, err := fs.Sub(dist, "dist")
		if err != nil {
			return nil, err
		}
		from = sub
	}
	p := &page{files: map[string]*pageFile{}}
	err := fs.WalkDir(from, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(path.Base(name), ".") {
			return err
		}
		data, err := fs.ReadFile(from, name)
		if err == nil {
			p.files[name] = newPageFile(name, data)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("web: reading the page: %w", err)
	}
	if p.files[indexName] == nil {
		p.files[indexName] = newPageFile(indexName, []byte(notBuilt))
	}
	return p, nil
}

// pageTypes are named here, because the system's own table differs from machine
// to machine.
var pageTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8",
	".json": "application/json", ".webmanifest": "application/manifest+json", ".svg": "image/svg+xml", ".png": "image/png",
	".ico": "image/x-icon", ".woff2": "font/woff2", ".txt": "text/plain; charset=utf-8", ".map": "application/json",
}

func newPageFile(name string, data []byte) *pageFile {
	sum := sha256.Sum256(data)
	f := &pageFile{data: data, kind: pageTypes[path.Ext(name)], etag: hex.EncodeToString(sum[:8])}
	if f.kind == "" {
		if f.kind = mime.TypeByExtension(path.Ext(name)); f.kind == "" {
			f.kind = "application/octet-stream"
		}
	}
	if len(data) >= packLeast && !strings.HasPrefix(f.kind, "image/png") && !strings.HasPrefix(f.kind, "font/") {
		f.packed = sync.OnceValue(func() []byte {
			var b bytes.Buffer
			z := gzip.NewWriter(&b)
			z.Write(data)
			z.Close()
			return b.Bytes()
		})
	}
	return f
}

// servePage gives the page, the same to everybody; it asks for the sign-in.
func (s *Server) servePage(x *exchange) error {
	return x.file(s.page.files[indexName], "no-cache")
}

// servePageFile gives a file of the page. Names below assets/ hold a hash of the
// content, so a browser never needs to ask again.
func (s *Server) servePageFile(x *exchange) error {
	name, keep := x.vars["file"], "no-cache"
	if strings.HasPrefix(x.r.URL.Path, "/assets/") {
		name, keep = "assets/"+name, "public, max-age=31536000, immutable"
	}
	f := s.page.files[name]
	if f == nil {
		return fault.New(fault.Missing, noSuchAddress.Plain())
	}
	if name == workerName {
		x.w.Header().Set("Service-Worker-Allowed", "/")
	}
	return x.file(f, keep)
}

func (x *exchange) file(f *pageFile, keep string) error {
	h := x.w.Header()
	h.Set("Cache-Control", keep)
	h.Add("Vary", "Accept-Encoding")
	data, etag := f.data, `"`+f.etag+`"`
	if f.packed != nil && takesGzip(x.r) {
		data, etag = f.packed(), `"`+f.etag+`-gzip"`
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("ETag", etag)
	if matchesAny(x.r.Header.Get("If-None-Match"), etag) {
		h.Del("Content-Encoding")
		x.w.WriteHeader(http.StatusNotModified)
		return nil
	}
	return x.send(http.StatusOK, f.kind, data)
}

func (s *Server) healthz(x *exchange) error {
	return x.json(http.StatusOK, map[string]string{"status": "up", "version": s.Version})
}

// errNotReady is internal to every reader but the log.
var errNotReady = errors.New("web: the records cannot be read")

func (s *Server) readyz(x *exchange) error {
	if _, err := s.Store.Farms(x.r.Context()); err != nil {
		s.Logger.ErrorContext(x.r.Context(), "not ready", "id", traceOf(x.r).id, "err", fmt.Errorf("%w: %w", errNotReady, err))
		return x.json(http.StatusServiceUnavailable, map[string]string{"status": "not ready", "version": s.Version})
	}
	return x.json(http.StatusOK, map[string]string{"status": "ready", "version": s.Version})
}
