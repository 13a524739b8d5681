"""Search for changes of a job after which its checks hold: levers, their effects, trials."""
