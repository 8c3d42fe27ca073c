package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"strings"

	"caneward/blocks/words"
	"caneward/records/calc"
)

var (
	calcTopics = words.New("cmd-calc-topics", "topics: {topics}", "temas: {topics}")
	calcSource = words.New("cmd-calc-source", "formula: {formula}; source: {source}", "fórmula: {formula}; fuente: {source}")
)

func calculate(_ context.Context, s *session, args []string) error {
	flags := flag.NewFlagSet("calc", flag.ContinueOnError)
	asJSON := flags.Bool("json", false, "")
	rest, err := parse(flags, args, -1)
	if err != nil {
		return err
	}
	if len(rest) == 0 {
		return usageError{calcTopics.With(words.Args{"topics": strings.Join(calc.Topics(), ", ")})}
	}
	inputs, err := calc.ParseArgs(rest[1:])
	if err != nil {
		return err
	}
	answer, err := calc.Do(rest[0], inputs)
	if err != nil {
		return err
	}
	if *asJSON {
		return json.NewEncoder(s.out).Encode(map[string]any{"value": answer.Value, "unit": answer.Unit})
	}
	fmt.Fprintf(s.out, "%v %s\n", answer.Value, answer.Unit)
	fmt.Fprintln(s.talk, calcSource.With(words.Args{"formula": answer.Formula, "source": answer.Source}).In(s.language))
	return nil
}
