"""Which GPIO does what. Generated from hardware/pins.toml by `make pins`: change it there."""

LAMP = 2
SAFELIGHT = 5
ARM = 22
EXPOSE = 6
PEDAL = 7
LAMP_KEY = 8
BACK = 9
DIAL_A = 10
DIAL_B = 11
DIAL_PRESS = 12
PIEZO = 15
DISPLAY_SDA = 16
DISPLAY_SCL = 17
BACKLIGHT = 13
CUTOFF_TICK = 14
LAMP_SENSE = 20
FEEDBACK = 21
CELL_SDA = 18
CELL_SCL = 19
