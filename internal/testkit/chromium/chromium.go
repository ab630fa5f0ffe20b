// Package chromium starts Chromium for what looks at the page from outside.
package chromium

import (
	"context"

	"github.com/chromedp/chromedp"
)

// Start starts Chromium without a window, with a profile of its own that is thrown away,
// and returns its first tab; more options come after those of every start. Nothing but
// this computer is reached from it. Stop ends it.
func Start(ctx context.Context, more ...chromedp.ExecAllocatorOption) (tab context.Context, stop func()) {
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("hide-scrollbars", true),
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"))
	allocated, end := chromedp.NewExecAllocator(ctx, append(options, more...)...)
	tab, cancel := chromedp.NewContext(allocated)
	return tab, func() {
		cancel()
		end()
	}
}

// Hear lets pages open the microphone without asking, and play.
func Hear() []chromedp.ExecAllocatorOption {
	return []chromedp.ExecAllocatorOption{
		chromedp.Flag("mute-audio", false),
		chromedp.Flag("use-fake-ui-for-media-stream", true),
	}
}
