"""Will it fire when told: currents, function times, supply."""
