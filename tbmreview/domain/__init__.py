"""The nouns: frozen data, errors, units. numpy only; knows no other layer."""
