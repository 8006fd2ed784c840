"""How the eye's network is made: random scenes, a ray caster, a camera, the training. Never imported by the tool."""
