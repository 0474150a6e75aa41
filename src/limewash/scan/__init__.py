"""Learn where every projector pixel lands, from a filmed clip."""
