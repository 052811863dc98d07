"""What does one hit do to the invented system?  Makes the figure of the README: prediction.png; a few seconds."""

from pathlib import Path

from PIL import Image

from binarydyn.plots import save_prediction
from binarydyn.prediction import predict
from binarydyn.scenario import example

result = predict(example())
figure = Path(__file__).with_name("prediction.png")
save_prediction(str(figure), result)
Image.open(figure).convert("RGB").quantize(64).save(figure, optimize=True)  # a third of the size in the repository
for name, value in result.numbers().items():
    print(f"{name:34s} {value}")
