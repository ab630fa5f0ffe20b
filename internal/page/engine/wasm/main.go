//go:build js && wasm

// Command wasm is the engine of the page: it connects package engine with the worker of
// a browser that it runs in, and with the storage that the worker's script brings.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"syscall/js"
	"time"

	"singback/internal/page/engine"
)

// What the worker's script has put into its global scope:
//
//	singbackPost(text)           sends a message, as JSON, to the page
//	singbackKeep(what, ...)      a promise of what the storage answers
//	singbackSpeaker              the port to the loudspeaker's worklet, or null
//	singbackHome, singbackVersion
var global = js.Global()

func main() {
	home, version := global.Get("singbackHome").String(), global.Get("singbackVersion").String()
	var store engine.Store = &engine.BrowserStore{DB: database{}}
	if home == "computer" {
		store = &engine.ServerStore{Fetch: fetch}
	}
	e := engine.New(host{}, store, version)
	w := &worker{engine: e}
	global.Set("singbackDo", js.FuncOf(w.do))
	global.Set("singbackSound", js.FuncOf(w.sound))
	global.Set("singbackHeard", js.FuncOf(w.heard))
	global.Set("singbackPlayed", js.FuncOf(w.played))
	global.Set("singbackLatency", js.FuncOf(w.latency))
	go e.Start(context.Background())
	select {}
}

// host is the worker.
type host struct{}

func (host) Post(message any) {
	text, err := json.Marshal(message)
	if err != nil {
		text, _ = json.Marshal(map[string]string{"is": "trouble", "code": "engine", "text": err.Error()})
	}
	global.Call("singbackPost", string(text))
}

func (host) Clock() time.Time { return time.Now() }
func (host) Seed() uint64     { return rand.Uint64() % 1e6 } // short, to be typed again

// ID draws 16 bytes from the browser's generator.
func (host) ID() (id [16]byte) {
	bytes := global.Get("Uint8Array").New(len(id))
	global.Get("crypto").Call("getRandomValues", bytes)
	js.CopyBytesToGo(id[:], bytes)
	return id
}

// worker hands on what the script hears.
type worker struct {
	engine  *engine.Engine
	mic     *engine.Mic
	speaker *engine.Speaker
	block   []byte
}

// do takes a command as JSON.
func (w *worker) do(_ js.Value, args []js.Value) any {
	var c engine.Command
	if err := json.Unmarshal([]byte(args[0].String()), &c); err != nil {
		host{}.Post(map[string]string{"is": "trouble", "code": "engine", "text": err.Error()})
		return nil
	}
	w.engine.Do(c)
	return nil
}

// sound takes the rates of the loudspeaker and of the microphone; 0 is no microphone.
func (w *worker) sound(_ js.Value, args []js.Value) any {
	w.mic, w.speaker = nil, engine.NewSpeaker(args[0].Int(), port{})
	if rate := args[1].Int(); rate > 0 {
		w.mic = engine.NewMic(rate)
	}
	w.engine.Connect(engine.Sound{Mic: w.mic, Speaker: w.speaker})
	return nil
}

// heard takes a block of the microphone: its first frame, and its bytes.
func (w *worker) heard(_ js.Value, args []js.Value) any {
	if w.mic == nil {
		return nil
	}
	n := args[1].Get("byteLength").Int()
	if cap(w.block) < n {
		w.block = make([]byte, n)
	}
	js.CopyBytesToGo(w.block[:n], args[1])
	w.mic.Push(int64(args[0].Float()), w.block[:n])
	return nil
}

// played takes the number of a drain.
func (w *worker) played(_ js.Value, args []js.Value) any {
	if w.speaker != nil {
		w.speaker.Played(args[0].Int())
	}
	return nil
}

// latency takes seconds.
func (w *worker) latency(_ js.Value, args []js.Value) any {
	if w.speaker != nil {
		w.speaker.SetLatency(time.Duration(args[0].Float() * float64(time.Second)))
	}
	return nil
}

// port is the way to the loudspeaker's worklet.
type port struct{}

func (port) Sound(block []byte) {
	bytes := global.Get("Uint8Array").New(len(block))
	js.CopyBytesToJS(bytes, block)
	global.Call("singbackPlay", bytes)
}

func (port) Tell(drain int) { global.Call("singbackTell", drain) }
func (port) Stop()          { global.Call("singbackSilence") }

// kept is what the script's storage refused.
type kept struct {
	text string
	full bool
}

func (k kept) Error() string { return k.text }

// Full tells that there is no room left.
func (k kept) Full() bool { return k.full }

// await waits for a promise.
func await(ctx context.Context, promise js.Value) (js.Value, error) {
	type result struct {
		value js.Value
		err   error
	}
	done := make(chan result, 1)
	well := js.FuncOf(func(_ js.Value, args []js.Value) any {
		done <- result{value: args[0]}
		return nil
	})
	ill := js.FuncOf(func(_ js.Value, args []js.Value) any {
		e := args[0]
		done <- result{err: kept{e.Get("message").String(), e.Get("name").String() == "QuotaExceededError"}}
		return nil
	})
	promise.Call("then", well, ill)
	select {
	case r := <-done:
		well.Release()
		ill.Release()
		return r.value, r.err
	case <-ctx.Done():
		// The promise may still be settled: its functions stay.
		return js.Value{}, fmt.Errorf("the storage has not answered in time: %w", ctx.Err())
	}
}

// database is the browser's own.
type database struct{}

var _ engine.Database = database{}

func (database) AddLines(ctx context.Context, lines []engine.Line) (int, error) {
	text, err := json.Marshal(lines)
	if err != nil {
		return 0, err
	}
	v, err := await(ctx, global.Call("singbackKeep", "add", string(text)))
	if err != nil {
		return 0, err
	}
	return v.Int(), nil
}

func (database) Lines(ctx context.Context) ([]engine.Line, error) {
	v, err := await(ctx, global.Call("singbackKeep", "lines"))
	if err != nil {
		return nil, err
	}
	var lines []engine.Line
	err = json.Unmarshal([]byte(v.String()), &lines)
	return lines, err
}

func (database) Get(ctx context.Context, name string) (string, error) {
	v, err := await(ctx, global.Call("singbackKeep", "get", name))
	if err != nil {
		return "", err
	}
	return v.String(), nil
}

func (database) Put(ctx context.Context, name, value string) error {
	_, err := await(ctx, global.Call("singbackKeep", "put", name, value))
	return err
}

func (database) Clear(ctx context.Context) error {
	_, err := await(ctx, global.Call("singbackKeep", "clear"))
	return err
}

// fetch asks the server of the page.
func fetch(ctx context.Context, method, path string, body []byte, etag string) (int, []byte, string, error) {
	v, err := await(ctx, global.Call("singbackFetch", method, path, string(body), etag))
	if err != nil {
		return 0, nil, "", err
	}
	if v.Get("status").Type() != js.TypeNumber {
		return 0, nil, "", errors.New("no answer")
	}
	return v.Get("status").Int(), []byte(v.Get("text").String()), v.Get("etag").String(), nil
}
