package main

import (
	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// progress is a bar on standard error where that is a terminal, and nothing otherwise.
type progress struct {
	all *mpb.Progress
	bar *mpb.Bar
}

func newProgress(std stdio, noun string, total int) *progress {
	if !isTerminal(std.Err) || total == 0 {
		return &progress{}
	}
	all := mpb.New(mpb.WithOutput(std.Err), mpb.WithWidth(50))
	bar := all.AddBar(int64(total),
		mpb.PrependDecorators(decor.CountersNoUnit("%d / %d "+noun)),
		mpb.AppendDecorators(decor.Percentage()),
		mpb.BarRemoveOnComplete())
	return &progress{all: all, bar: bar}
}

// show moves the bar.
func (p *progress) show(done, _ int) {
	if p.bar != nil {
		p.bar.SetCurrent(int64(done))
	}
}

// end takes the bar away, also where the work was interrupted.
func (p *progress) end() {
	if p.bar != nil {
		p.bar.Abort(true)
		p.all.Wait()
	}
}
