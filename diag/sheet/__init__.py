"""The sheet a person takes to the vehicle: what every lamp and point shows under one operate, as table and drawing."""
