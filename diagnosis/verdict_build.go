package diagnosis

func (e *Engine) verdict(p *problem, post *posterior) *Verdict { return &Verdict{} }
