// The desk's page: each view shows its part of the state.

import { startFiles } from './files.js';
import { startHands } from './hands.js';
import { startKeys } from './keys.js';
import { startLink } from './link.js';
import { startMap } from './map.js';
import { startMarking } from './mark.js';
import { startNext } from './next.js';
import { startEnlarging } from './picture.js';
import { startPeaks } from './peaks.js';
import { startPictures } from './pictures.js';
import { startResult } from './result.js';
import { startRuns } from './runs.js';
import { takeToken } from './server.js';
import { startTake } from './take.js';
import { startTerms } from './terms.js';

takeToken();
startResult();
startHands();
startPeaks();
startTerms();
startPictures();
startMap();
startTake();
startNext();
startRuns();
startFiles();
startMarking();
startEnlarging();
startKeys();
startLink();
