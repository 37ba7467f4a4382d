//! plumewire: the open framed serial protocol. Frames, checks, messages; no_std, no allocation.
