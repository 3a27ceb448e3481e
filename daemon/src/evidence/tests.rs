//! Every saying in English, and none that holds a word of its own.
