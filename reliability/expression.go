package reliability

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxNesting bounds parentheses within parentheses in a gate's expression.
const maxNesting = 100

// formula is a parsed expression: a name, or a gate over formulas.
type formula struct {
	name string // of a leaf
	gate Gate   // Kind 0 for a leaf
	args []formula
}

// parseGate turns an expression into the gate name and, for what stands in
// parentheses, gates name#1, name#2 and so on; # cannot stand in a name.
func parseGate(name, text string) ([]Gate, error) {
	p := parser{rest: text}
	p.next()
	f, err := p.expression(0)
	if err == nil && p.token != "" {
		err = fmt.Errorf("unexpected %q", p.token)
	}
	if err != nil {
		return nil, err
	}
	if f.gate.Kind == 0 {
		f = formula{gate: Gate{Kind: Or}, args: []formula{f}}
	}
	var inner []Gate
	count := 0
	var flatten func(f formula, name string) Gate
	flatten = func(f formula, gateName string) Gate {
		g := f.gate
		g.Name = gateName
		for _, arg := range f.args {
			if arg.gate.Kind != 0 {
				count++
				arg.name = fmt.Sprintf("%s#%d", name, count)
				inner = append(inner, flatten(arg, arg.name))
			}
			g.Inputs = append(g.Inputs, arg.name)
		}
		return g
	}
	outer := flatten(f, name)
	return append([]Gate{outer}, inner...), nil
}

// parser holds the token at hand; an empty token is the end.
type parser struct {
	token, rest string
}

func isNameRune(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("_.:-", r)
}

func (p *parser) next() {
	p.rest = strings.TrimLeftFunc(p.rest, unicode.IsSpace)
	n := strings.IndexFunc(p.rest, func(r rune) bool { return !isNameRune(r) })
	if n < 0 {
		n = len(p.rest)
	}
	if n == 0 {
		_, n = utf8.DecodeRuneInString(p.rest)
	}
	p.token, p.rest = p.rest[:n], p.rest[n:]
}

// accept steps over the token if it is the one given.
func (p *parser) accept(token string) bool {
	if p.token != token {
		return false
	}
	p.next()
	return true
}

func (p *parser) expect(token string) error {
	if p.accept(token) {
		return nil
	}
	if p.token == "" {
		return fmt.Errorf("it ends where %q should stand", token)
	}
	return fmt.Errorf("%q stands where %q should", p.token, token)
}

// expression is one term, or terms joined by & alone or by | alone.
func (p *parser) expression(depth int) (formula, error) {
	if depth > maxNesting {
		return formula{}, fmt.Errorf("more than %d parentheses deep", maxNesting)
	}
	first, err := p.term(depth)
	if err != nil {
		return formula{}, err
	}
	joint := p.token
	kind := map[string]GateKind{"&": And, "|": Or}[joint]
	if kind == 0 {
		return first, nil
	}
	f := formula{gate: Gate{Kind: kind}, args: []formula{first}}
	for p.accept(joint) {
		arg, err := p.term(depth)
		if err != nil {
			return formula{}, err
		}
		f.args = append(f.args, arg)
	}
	if p.token == "&" || p.token == "|" {
		return formula{}, errors.New("& and | side by side need parentheses")
	}
	return f, nil
}

func (p *parser) term(depth int) (formula, error) {
	if p.accept("(") {
		f, err := p.expression(depth + 1)
		if err == nil {
			err = p.expect(")")
		}
		return f, err
	}
	name := p.token
	if r, _ := utf8.DecodeRuneInString(name); !isNameRune(r) {
		if name == "" {
			return formula{}, errors.New("it ends where a name should stand")
		}
		return formula{}, fmt.Errorf("%q stands where a name should", name)
	}
	p.next()
	if name == "atleast" && p.accept("(") {
		return p.atLeast(depth)
	}
	return formula{name: name}, nil
}

// atLeast reads the rest of atleast(k, a, b, ...).
func (p *parser) atLeast(depth int) (formula, error) {
	k, err := strconv.Atoi(p.token)
	if err != nil {
		return formula{}, fmt.Errorf("%q stands where atleast needs a number", p.token)
	}
	p.next()
	f := formula{gate: Gate{Kind: AtLeast, K: k}}
	for p.accept(",") {
		arg, err := p.expression(depth + 1)
		if err != nil {
			return formula{}, err
		}
		f.args = append(f.args, arg)
	}
	return f, p.expect(")")
}
