// Command caneward maps the blocks, rows and plants of a bramble farm and keeps
// its scouting and spray records: as a server with a page, and as commands that
// need none.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	_ "time/tzdata" // clocks of the law must not depend on the machine's zone files

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// version is set by the linker.
var version = "unknown"

// Exit codes, fixed by the contract.
const (
	done   = 0
	failed = 1 // refused or failed
	misuse = 2
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv))
}

// session is what a command gets: its arguments and the world around it.
type session struct {
	in       io.Reader
	out      io.Writer // results
	talk     io.Writer // everything else
	language words.Language
}

type command struct {
	name    string
	usage   string
	summary words.Message
	run     func(ctx context.Context, s *session, args []string) error
}

var commands = []command{
	{"demo", "demo [--listen 127.0.0.1:8080] [--data DIR]",
		words.New("cmd-demo", "serve a fresh copy of the invented demo farm", "servir una copia nueva de la finca inventada de muestra"), demo},
	{"serve", "serve --data DIR [--listen HOST:PORT] [--tls-cert F --tls-key F | --tls-self-signed] [--base-map FILE_OR_URL] [--backup-to DIR [--backup-every 15m] [--keep last=96,daily=31,monthly=12]] [--public-url URL] [--proxy ADDRESS]... [--metrics-to NETWORK]...",
		words.New("cmd-serve", "serve the records in DIR", "servir los registros de DIR"), serve},
	{"read", "read FILE [--zone America/Chicago] [--system EPSG:26915] [--day-order day-first|month-first] [--swap]",
		words.New("cmd-read", "say what a file of outlines or points holds; stores nothing", "decir qué contiene un archivo de contornos o puntos; no guarda nada"), read},
	{"layout", "layout OUTLINE --row-spacing 3.05 --plant-spacing 0.91 [--bearing 12.5 | --guide FILE] [--headland 8] [--side-margin 3] [--alley-every 12 --alley 5] [--post-spacing 8] [--skip 3,4] [--spare 5 | --compare 15] [--json]",
		words.New("cmd-layout", "the rows and plants that fit a block", "las hileras y plantas que caben en un bloque"), plan},
	{"hotspots", "hotspots ROWMAP.csv [--along-m …] [--json]  |  hotspots POINTS.csv --x x --y y --eps 4.03 --min-finds 6",
		words.New("cmd-hotspots", "groups of finds in a row map or in loose points", "grupos de hallazgos en un mapa de hileras o en puntos sueltos"), hotspots},
	{"coverage", "coverage TRACK --block FILE [--width 2.4] [--setback-from FILE --setback-m 15] [--json]",
		words.New("cmd-coverage", "what a sprayer's track covered of a block, doubled and missed", "lo que el recorrido de un pulverizador cubrió de un bloque, repitió y dejó"), coverTrack},
	{"calc", "calc TOPIC key=value ... [--json]",
		words.New("cmd-calc", "spray and planting arithmetic by hand", "cálculos de aplicación y plantación a mano"), calculate},
	{"backup", "backup DIR FILE",
		words.New("cmd-backup", "copy the records of DIR into FILE, also while serving", "copiar los registros de DIR en FILE, también mientras se sirve"), backup},
	{"restore", "restore FILE DIR",
		words.New("cmd-restore", "make a new DIR from a copy", "hacer un DIR nuevo a partir de una copia"), restore},
	{"verify", "verify DIR",
		words.New("cmd-verify", "check integrity, the chain of revisions and the totals", "comprobar la integridad, la cadena de revisiones y los totales"), verify},
	{"export", "export DIR FARM FILE [--kind blocks,rows] [--format F | --format everything] [--lang es]",
		words.New("cmd-export", "write a farm's records to FILE, in the format of its ending, also while serving", "escribir los registros de una finca en FILE, en el formato de su terminación, también mientras se sirve"), exportCommand},
	{"import-farm", "import-farm FILE DIR FARM",
		words.New("cmd-import-farm", "make a farm from the archive of a whole one (export --format everything), also while serving", "hacer una finca a partir del archivo de una entera (export --format everything), también mientras se sirve"), importFarm},
	{"farms", "farms list | erase FARM | keep FARM  (each with --data DIR)",
		words.New("cmd-farms", "list farms, erase one at once and for good, or keep one whose owner asked for it to be erased", "listar fincas, borrar una al instante y para siempre, o conservar una cuyo dueño pidió borrarla"), farmsCommand},
	{"people", "people add NAME [--display D] [--farm F --role R] | list | reset NAME | codes-off NAME  (each with --data DIR)",
		words.New("cmd-people", "sign-ins, from the server's own console", "accesos, desde la consola del servidor"), peopleCommand},
}

var (
	usageHead = words.New("cmd-usage", "caneward: block map and spatial records for bramble growers. Commands:", "caneward: mapa de bloques y registros espaciales para productores de zarzas. Comandos:")
	unknown   = words.New("cmd-unknown", "there is no command “{name}”", "no existe el comando «{name}»")
	usageLine = words.New("cmd-usage-line", "usage: caneward {usage}", "uso: caneward {usage}")
)

// usageError is the caller's mistake in the words of the command line: exit 2.
type usageError struct{ text words.Text }

func (e usageError) Error() string { return e.text.String() }

func run(ctx context.Context, args []string, in io.Reader, out, talk io.Writer, env func(string) string) int {
	s := &session{in: in, out: out, talk: talk, language: language(env)}
	if len(args) == 0 || args[0] == "help" || args[0] == "--help" || args[0] == "-h" {
		fmt.Fprintln(talk, usageHead.Plain().In(s.language))
		for _, c := range commands {
			fmt.Fprintf(talk, "  %-9s %s\n            caneward %s\n", c.name, c.summary.Plain().In(s.language), c.usage)
		}
		if len(args) == 0 {
			return misuse
		}
		return done
	}
	if args[0] == "--version" || args[0] == "version" {
		fmt.Fprintln(out, version)
		return done
	}
	for _, c := range commands {
		if c.name == args[0] {
			return s.finish(c, c.run(ctx, s, args[1:]))
		}
	}
	fmt.Fprintln(talk, "caneward: "+unknown.With(words.Args{"name": args[0]}).In(s.language))
	return misuse
}

// errRefused ends a command whose result, already printed, is a refusal.
var errRefused = errors.New("refused")

func (s *session) finish(c command, err error) int {
	var wrongUse usageError
	var refusal *fault.Error
	switch {
	case err == nil:
		return done
	case errors.Is(err, errRefused):
		return failed
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprintln(s.talk, usageLine.With(words.Args{"usage": c.usage}).In(s.language))
		return done
	case errors.As(err, &wrongUse):
		if !wrongUse.text.Empty() {
			fmt.Fprintln(s.talk, "caneward "+c.name+": "+wrongUse.text.In(s.language))
		}
		fmt.Fprintln(s.talk, usageLine.With(words.Args{"usage": c.usage}).In(s.language))
		return misuse
	case errors.As(err, &refusal):
		fmt.Fprintln(s.talk, "caneward "+c.name+": "+refusal.Text.In(s.language))
		for _, d := range refusal.Details {
			line := "  "
			if d.Line != nil {
				line += atLine.With(words.Args{"line": *d.Line}).In(s.language) + " "
			}
			if d.Field != "" {
				line += d.Field + ": "
			}
			line += d.Text.In(s.language)
			if !d.Fix.Empty() {
				line += " " + d.Fix.In(s.language)
			}
			fmt.Fprintln(s.talk, line)
		}
		return failed
	}
	fmt.Fprintln(s.talk, "caneward "+c.name+": "+err.Error())
	return failed
}

// language follows the usual environment variables.
func language(env func(string) string) words.Language {
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		if v := env(name); v != "" {
			return words.Accepted(strings.ReplaceAll(strings.SplitN(v, ".", 2)[0], "_", "-"))
		}
	}
	return words.English
}

var atLine = words.New("cmd-at-line", "line {line},", "línea {line},")

var badFlags = words.New("cmd-bad-flags", "{problem}", "{problem}")

// parse reads flags that may stand before, between or after the positional
// arguments, and wants exactly count of those (any number when count is -1).
func parse(flags *flag.FlagSet, args []string, count int) ([]string, error) {
	flags.SetOutput(io.Discard)
	var positional []string
	for {
		if err := flags.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				return nil, err
			}
			return nil, usageError{badFlags.With(words.Args{"problem": err.Error()})}
		}
		args = flags.Args()
		if len(args) == 0 {
			break
		}
		positional = append(positional, args[0])
		args = args[1:]
	}
	if count >= 0 && len(positional) != count {
		return nil, usageError{}
	}
	return positional, nil
}
