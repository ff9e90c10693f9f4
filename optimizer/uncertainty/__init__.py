"""How uncertain an answer is: spreads of the inputs, samples, probability of passing, influences."""
