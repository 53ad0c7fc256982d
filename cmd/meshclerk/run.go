package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	stdlog "log"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"golang.org/x/text/language"

	"meshclerk/cmd/meshclerk/robot"
	"meshclerk/intake/ledger"
	"meshclerk/reply/outbox"
	"meshclerk/rules"
	"meshclerk/templates"
)

type runCmd struct {
	Config string `placeholder:"FILE" default:"${config}" help:"Configuration of the installation (or MESHCLERK_CONFIG)."`
}

func (c *runCmd) Run(e *env) error {
	conf, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	r, err := loadRules(conf.Rules)
	if err != nil {
		return err
	}
	set, err := templates.LoadHouse(conf.Templates, r)
	if err != nil {
		return err
	}
	log := newLog(e.err)
	for _, w := range secretWarnings(conf, e.getenv, english().Say) {
		log.Warn("secret file open to others", "what", w)
	}
	s, err := newServers(conf, r, e.getenv, log)
	if err != nil {
		return err
	}
	l, err := ledger.Open(e.ctx, conf.Data, log, nil)
	if err != nil {
		return err
	}
	defer l.Close()
	release, err := l.Lock()
	if err != nil {
		return err
	}
	defer release()
	bot := newRobot(l, r, set, s, conf.Domain, log)
	page, err := conf.StaffPage.open(conf, bot, e.getenv, log)
	if err != nil {
		return err
	}
	defer page.close()
	if err := serve(e.ctx, conf.Listen, bot, page, log, func(addr string) { log.Info("listening", "address", addr) }); err != nil {
		return maskedError{err}
	}
	return nil
}

func newRobot(l *ledger.Ledger, r *rules.Rules, set *templates.Set, s *servers, domain string, log *slog.Logger) *robot.Robot {
	return &robot.Robot{Office: newOffice(l, r, set, domain, log), Dial: s.dial, Send: s.send, Reach: s.reach}
}

// newLog writes one line per event, without the words of any letter. Whatever room
// an attribute comes from, and whatever it is, the addresses in it are masked.
func newLog(w io.Writer) *slog.Logger {
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: slog.LevelInfo, ReplaceAttr: masked}))
}

// masked masks the addresses in an attribute: text, an error, or anything else as
// the log would show it.
func masked(_ []string, a slog.Attr) slog.Attr {
	shown := ""
	switch v := a.Value; v.Kind() {
	case slog.KindString:
		shown = v.String()
	case slog.KindAny:
		shown = fmt.Sprintf("%+v", v.Any())
		if err, ok := v.Any().(error); ok {
			a.Value = slog.StringValue(english().Error(err))
			shown = a.Value.String()
		}
	default:
		return a
	}
	if hidden := outbox.Mask(shown); hidden != shown {
		a.Value = slog.StringValue(hidden)
	}
	if outbox.Mask(a.Key) != a.Key {
		a.Key = outbox.Mask(a.Key)
	}
	return a
}

// maskedError is an error that ends the service: it is printed where the log goes.
type maskedError struct{ error }

func (e maskedError) Error() string { return outbox.Mask(english().Error(e.error)) }
func (e maskedError) Unwrap() error { return e.error }

// serve runs the robot and the health address until the context ends.
func serve(ctx context.Context, listen string, bot *robot.Robot, page *staffPage, log *slog.Logger, ready func(addr string)) error {
	ln, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("the address %s cannot be listened on (is another copy running?): %w", listen, err)
	}
	web := &http.Server{Handler: handler(bot, page), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute, WriteTimeout: 2 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: stdlog.New(webLog{log}, "", 0)}
	working, end := context.WithCancel(ctx)
	defer end()
	failed := make(chan error, 1)
	go func() {
		failed <- page.serve(web, ln)
		end() // a robot whose page is gone must not go on as if all were well
	}()
	ready(ln.Addr().String())
	err = bot.Run(working)
	bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if errWeb := web.Shutdown(bounded); err == nil {
		err = errWeb
	}
	if errServe := <-failed; err == nil && !errors.Is(errServe, http.ErrServerClosed) {
		err = errServe
	}
	return err
}

// webLog takes what the web server says of itself. Strangers break off handshakes
// at will, and must not fill the log with it.
type webLog struct{ log *slog.Logger }

func (w webLog) Write(p []byte) (int, error) {
	if !bytes.HasPrefix(p, []byte("http: TLS handshake error")) {
		w.log.Error("page", "why", strings.TrimSpace(string(p)))
	}
	return len(p), nil
}

func handler(bot *robot.Robot, page *staffPage) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /health", health(bot))
	if page.desk != nil {
		mux.Handle("/", page.desk)
	}
	return mux
}

// heard are the words of who asks for the health: in the language that they read, or in English.
func heard(bot *robot.Robot, r *http.Request) *templates.Localizer {
	book := bot.Texts().Book()
	known := book.LanguagesOf("health")
	var tags []language.Tag
	for _, lang := range known {
		tags = append(tags, language.Make(lang))
	}
	_, i := language.MatchStrings(language.NewMatcher(tags), r.Header.Get("Accept-Language")) // RFC 9110, 12.5.4
	return book.In(known[i], bot.Rules.Prices.Locale, bot.Rules.Prices.Currency)
}

// health answers 200 while all is well, else 503; either way it says how things stand.
func health(bot *robot.Robot) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		state := bot.Health(r.Context()).In(heard(bot, r).Say)
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("Vary", "Accept-Language")
		if !state.OK {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
		json.NewEncoder(w).Encode(state) // the reader has gone if this fails
	}
}
