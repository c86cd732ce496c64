"""The journeys: a pass, recording work, a mix, messages. The only rooms that know several others."""
