"""Words to intents, replies to words."""
