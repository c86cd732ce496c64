"""The service under load: asked at half the rate that a bare route of the framework reaches, for minutes."""
