//! What any detector can be asked and can tell, and the drivers that turn it into a protocol.
