def march_substep(*a): raise NotImplementedError
