import sys; sys.path.insert(0,"/tmp")
from shots import *
