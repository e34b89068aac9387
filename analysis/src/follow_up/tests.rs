//! Entry, end and tank events of single specimens.
