def list_bursts(*a, **k): raise NotImplementedError
