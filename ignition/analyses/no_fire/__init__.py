"""Can it fire when nobody asked: gate, steady current, heating."""
