"""An acid or base by name, in the strength asked for."""

import chem

agent = chem.choose_agent("75 % phosphoric acid")
print(agent.own_form, "an acid" if agent.acid else "a base")
