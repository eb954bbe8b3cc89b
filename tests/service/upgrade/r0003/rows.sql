BEGIN TRANSACTION;
CREATE TABLE access_credential (
	id TEXT NOT NULL, 
	holder TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	parent_id TEXT, 
	digest TEXT NOT NULL, 
	issued_utc TEXT NOT NULL, 
	expires_utc TEXT, 
	ended_utc TEXT, 
	CONSTRAINT pk_access_credential PRIMARY KEY (id), 
	CONSTRAINT fk_access_credential_holder_access_holder FOREIGN KEY(holder) REFERENCES access_holder (name), 
	CONSTRAINT fk_access_credential_parent_id_access_credential FOREIGN KEY(parent_id) REFERENCES access_credential (id), 
	CONSTRAINT ck_access_credential_kind CHECK (kind IN ('token', 'session')), 
	CONSTRAINT ck_access_credential_parent CHECK ((kind = 'session') = (parent_id IS NOT NULL))
);
INSERT INTO "access_credential" VALUES('nmw4q5snyzbl3xqn','vera','token',NULL,'887dc6401d429b30c3ab7c0915edaf2ba27cbed321c9ecbc8769a16fbfe523d4','2026-12-01T01:32:58.058369Z',NULL,NULL);
CREATE TABLE access_holder (
	name TEXT NOT NULL, 
	roles TEXT NOT NULL, 
	machines TEXT, 
	created_utc TEXT NOT NULL, 
	revoked_utc TEXT, 
	CONSTRAINT pk_access_holder PRIMARY KEY (name)
);
INSERT INTO "access_holder" VALUES('vera','["viewer"]','[]','2026-12-01T01:32:58.058369Z',NULL);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0003');
CREATE TABLE calibration (
	id TEXT NOT NULL, 
	ordinal INTEGER NOT NULL, 
	machine_id TEXT NOT NULL, 
	machine_before TEXT NOT NULL, 
	machine_after TEXT NOT NULL, 
	attachment_id TEXT NOT NULL, 
	attachment_before TEXT NOT NULL, 
	attachment_after TEXT NOT NULL, 
	document TEXT NOT NULL, 
	document_hash TEXT NOT NULL, 
	rolls_back TEXT, 
	actor TEXT NOT NULL, 
	recorded_utc TEXT NOT NULL, 
	idempotency_key TEXT, 
	request_hash TEXT, 
	CONSTRAINT pk_calibration PRIMARY KEY (id), 
	CONSTRAINT uq_calibration_ordinal UNIQUE (ordinal), 
	CONSTRAINT uq_calibration_idempotency_key UNIQUE (idempotency_key), 
	CONSTRAINT uq_calibration_rolls_back UNIQUE (rolls_back), 
	CONSTRAINT fk_calibration_rolls_back_calibration FOREIGN KEY(rolls_back) REFERENCES calibration (id)
);
INSERT INTO "calibration" VALUES('50ba60d7-6360-441e-a395-7769958fa182',1,'our-digger','f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c','e440607266f594b166df18c1ef04fb6ee1613d7b29658826afdb2d386d9fa3f7','our-bucket','4b67a28f0639c4444c21ad25577295ddaa23bed25d7d565f76a30ee7db701c06','4b67a28f0639c4444c21ad25577295ddaa23bed25d7d565f76a30ee7db701c06','{"answer":{"advisory":"Advisory only: check against a rod at the start of the shift, after any knock and before concrete. Local codes, the engineer and the competent person decide. See /guide/cautions.","also":[],"attachment":{"id":"our-bucket","revision":"4b67a28f0639c4444c21ad25577295ddaa23bed25d7d565f76a30ee7db701c06"},"correlations":[],"doubts":[],"fit":{"chi_square":8.040079515089341e-25,"consistent":true,"freedom":18,"rms_after":1.8066934304718103e-13,"rms_before":1.3383985796928055,"widened":1.0},"machine":{"id":"our-digger","revision":"f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c"},"next_postures":[{"after":{"deg":0.06008540074215242,"m":null,"shown":"0.060 deg"},"attitude_deg":{"pitch":-4.2656505191968315e-17,"roll":-1.8145991401829637e-17},"before":{"deg":0.11013675999697506,"m":null,"shown":"0.110 deg"},"edge_point":"centre","group":"level by the pump house","height":{"deg":null,"m":-4.700000000000001,"shown":"-4.700 m"},"joints_deg":{"boom":-26.190098544019413,"bucket":127.06585107988636,"stick":-117.8728249144796},"reach":{"deg":null,"m":1.7413084842320172,"shown":"1.741 m"},"weakest":"stick.zero","words":"centre 1.74 m ahead and -4.70 m from the boom foot, floor at +25 deg (boom -26.2 deg, stick -117.9 deg, bucket 127.1 deg): touches alone then know stick.zero to 0.060 deg, now to 0.11 deg"},{"after":{"deg":0.05218736723751855,"m":null,"shown":"0.052 deg"},"attitude_deg":{"pitch":-4.2656505191968315e-17,"roll":-1.8145991401829637e-17},"before":{"deg":0.06008540074215242,"m":null,"shown":"0.060 deg"},"edge_point":"centre","group":"level by the pump house","height":{"deg":null,"m":-3.5999999999999988,"shown":"-3.600 m"},"joints_deg":{"boom":-14.413106178278726,"bucket":97.49478884015596,"stick":-125.07875504050278},"reach":{"deg":null,"m":1.7413084842320177,"shown":"1.741 m"},"weakest":"stick.zero","words":"centre 1.74 m ahead and -3.60 m from the boom foot, floor at -0 deg (boom -14.4 deg, stick -125.1 deg, bucket 97.5 deg): touches alone then know stick.zero to 0.052 deg, now to 0.060 deg"},{"after":{"deg":0.05069105789814973,"m":null,"shown":"0.051 deg"},"attitude_deg":{"pitch":-4.2656505191968315e-17,"roll":-1.8145991401829637e-17},"before":{"deg":0.05218736723751855,"m":null,"shown":"0.052 deg"},"edge_point":"centre","group":"level by the pump house","height":{"deg":null,"m":-4.7,"shown":"-4.700 m"},"joints_deg":{"boom":-35.37883405802538,"bucket":20.069899381834286,"stick":-76.68813770243125},"reach":{"deg":null,"m":1.7413084842320172,"shown":"1.741 m"},"weakest":"stick.zero","words":"centre 1.74 m ahead and -4.70 m from the boom foot, floor at -50 deg (boom -35.4 deg, stick -76.7 deg, bucket 20.1 deg): touches alone then know stick.zero to 0.051 deg, now to 0.052 deg"}],"observations_sha256":"bf76565217640b204ea065aa85605e21d75144ee5b16b59a0d3c0bcc4fe2dd9f","profiles":[{"id":"our-digger","kind":"machine","toml":"schema = 1\nkind = \"machine\"\nid = \"our-digger\"\nname = \"Crawler, 14 t class\"\nsource = \"Invented for the demonstration; proportions usual for the class, from memory.\"\n\n[units]\nlength = \"mm\"\nangle = \"deg\"\n\n[boom]\nfoot = { forward = 250, left = -60 }\nfoot_above_ground = 1700\nlength = 4600\n\n[boom.cylinder]\nfoot = { x = 410, z = -490 }\neye = { x = 1950, z = 420 }\nshortest = 1417\nlongest = 2430\nextending = \"raises\"\n\n[stick]\nlength = 2500\n\n[stick.cylinder]\nfoot = { x = 2350, z = 950 }\neye = { x = -550, z = 300 }\nshortest = 1965\nlongest = 3015\nextending = \"lowers\"\n\n[bucket.linkage]\nidler_pivot = { x = 2200, z = 20 }\nidler = 570\npower_link = 500\nbranch = \"open\"\n\n[bucket.cylinder]\nfoot = { x = 300, z = 400 }\nshortest = 1410\nlongest = 2415\nextending = \"lowers\"\n\n[receiver]\nplace = { x = 900, y = 180, z = 260 }\nmast_angle = 180\n\n# Uncertainty: common practice, no source.\n[uncertainty]\nlengths = 0.5\nangles = 0.1\npin_slop = 1\nflex = 3\n\n# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).\n[sensors.body]                              # its pitch grows nose down\nplace = \"body\"\nmeasures = \"pitch-roll\"\nsign = -1\nside_sign = 1\nmounting = { nose_up = 0.3, left_up = -0.2 }\nrange = { low = -90, high = 90 }\nnoise = 0.01\nzero_uncertainty = 0.5\nskew_uncertainty = 0.05\nper_kelvin = 0.002\nlatency_ms = 40\nage_limit_ms = 500\n\n[sensors.boom]\nplace = \"boom\"\nmeasures = \"gravity-angle\"\nsign = 1\nmounting = { nose_up = 3.5 }\nrange = { low = -180, high = 180 }\nnoise = 0.01\nzero_uncertainty = 0.0521\nskew_uncertainty = 0.05\nper_kelvin = 0.002\nlatency_ms = 30\nage_limit_ms = 500\n\n[sensors.stick]                             # its reading grows as the stick is lowered\nplace = \"stick\"\nmeasures = \"gravity-angle\"\nsign = -1\nmounting = { nose_up = -1.6 }\nrange = { low = -180, high = 180 }\nnoise = 0.01\nzero_uncertainty = 0.11\nskew_uncertainty = 0.05\nper_kelvin = 0.002\nlatency_ms = 30\nage_limit_ms = 500\n\n[sensors.idler]\nplace = \"idler\"\nmeasures = \"gravity-angle\"\nsign = 1\nmounting = { nose_up = 12.5 }\nrange = { low = -180, high = 180 }\nnoise = 0.01\nzero_uncertainty = 0.02\nskew_uncertainty = 0.05\nper_kelvin = 0.002\nlatency_ms = 30\nage_limit_ms = 500\n\n[calibration]\ndate = \"2026-12-01\"\nobservations = 23\nobservations_sha256 = \"bf76565217640b204ea065aa85605e21d75144ee5b16b59a0d3c0bcc4fe2dd9f\"\nrms_before = 1.338\nrms_after = 1.807e-13\nnames = [\"boom.zero\", \"stick.zero\"]\ncorrelations = [[-0.055830739]]\nfrom_revision = \"f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c\"\n\n[calibration.of]\n\"boom.zero\" = {was = 3.2, found = 3.5, standard = 0.0521}\n\"stick.zero\" = {was = -1.4, found = -1.6, standard = 0.11}\n"}],"residuals":[{"after":{"deg":null,"m":2.220446049250313e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.0005712285660541827,"shown":"-0.6 mm"},"checked":0.8515124966632273,"name":"nail in the slab 1","pointer":"/touches/0/poses/0","standard":{"deg":null,"m":0.0037732700228748396,"shown":"3.8 mm"},"standardised":9.70700927390269e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":6.661338147750939e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.0022817744339000967,"shown":"-2.3 mm"},"checked":0.689155089981063,"name":"nail in the slab 2","pointer":"/touches/0/poses/1","standard":{"deg":null,"m":0.003148822345851863,"shown":"3.1 mm"},"standardised":1.562107366616316e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":0.0,"shown":"0.0 mm"},"before":{"deg":null,"m":0.001879392227233767,"shown":"1.9 mm"},"checked":0.9077242887141985,"name":"nail in the slab 3","pointer":"/touches/0/poses/2","standard":{"deg":null,"m":0.004589320070110869,"shown":"4.6 mm"},"standardised":4.010106501889769e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":-6.661338147750939e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":-0.0003819872808625835,"shown":"-0.4 mm"},"checked":0.8913046267993581,"name":"nail in the slab 4","pointer":"/touches/0/poses/3","standard":{"deg":null,"m":0.003598545147055752,"shown":"3.6 mm"},"standardised":-1.8611558001832657e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-4.440892098500626e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":0.0015597117094678925,"shown":"1.6 mm"},"checked":0.9166112181229181,"name":"nail in the slab 5","pointer":"/touches/0/poses/4","standard":{"deg":null,"m":0.004486677153694916,"shown":"4.5 mm"},"standardised":-8.647518918764135e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":6.661338147750939e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":0.00014423855344225522,"shown":"0.1 mm"},"checked":0.9406841017786881,"name":"nail in the slab 6","pointer":"/touches/0/poses/5","standard":{"deg":null,"m":0.004856116668472244,"shown":"4.9 mm"},"standardised":1.6830840969038922e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-2.220446049250313e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":0.0014507261866647525,"shown":"1.5 mm"},"checked":0.9487551547336783,"name":"nail in the slab 7","pointer":"/touches/0/poses/6","standard":{"deg":null,"m":0.005372616833457806,"shown":"5.4 mm"},"standardised":-4.9569070897229366e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":-4.440892098500626e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":-0.0008182016083646548,"shown":"-0.8 mm"},"checked":0.8534531869163422,"name":"nail in the slab 8","pointer":"/touches/0/poses/7","standard":{"deg":null,"m":0.003811426370060016,"shown":"3.8 mm"},"standardised":-1.171505115624365e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-1.3322676295501878e-15,"shown":"-0.0 mm"},"before":{"deg":null,"m":5.066539072440257e-05,"shown":"0.1 mm"},"checked":0.9186004227636517,"name":"stake on the heap 1","pointer":"/touches/1/poses/0","standard":{"deg":null,"m":0.003852047924729418,"shown":"3.9 mm"},"standardised":-3.5182930996053935e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":6.661338147750939e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.001447694787472198,"shown":"-1.4 mm"},"checked":0.9075225815931264,"name":"stake on the heap 2","pointer":"/touches/1/poses/1","standard":{"deg":null,"m":0.003806154444378667,"shown":"3.8 mm"},"standardised":2.16070431746159e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-2.220446049250313e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":-0.0012817905467963353,"shown":"-1.3 mm"},"checked":0.9055524378238565,"name":"stake on the heap 3","pointer":"/touches/1/poses/2","standard":{"deg":null,"m":0.003945338813944841,"shown":"3.9 mm"},"standardised":-2.9797328765935596e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":-2.220446049250313e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":0.00031239008494576836,"shown":"0.3 mm"},"checked":0.9119697238276825,"name":"stake on the heap 4","pointer":"/touches/1/poses/3","standard":{"deg":null,"m":0.0035600524666218334,"shown":"3.6 mm"},"standardised":-5.2567701890159235e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":8.881784197001252e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.0019512980649871725,"shown":"-2.0 mm"},"checked":0.9041663088302043,"name":"stake on the heap 5","pointer":"/touches/1/poses/4","standard":{"deg":null,"m":0.0037271929146703944,"shown":"3.7 mm"},"standardised":2.796161099694425e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-1.5543122344752192e-15,"shown":"-0.0 mm"},"before":{"deg":null,"m":0.0012854212931605602,"shown":"1.3 mm"},"checked":0.8990875180329091,"name":"stake on the heap 6","pointer":"/touches/1/poses/5","standard":{"deg":null,"m":0.0034634123360350716,"shown":"3.5 mm"},"standardised":-4.530129376432357e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":4.440892098500626e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.0001630476919090018,"shown":"-0.2 mm"},"checked":0.9134363165350372,"name":"stake on the heap 7","pointer":"/touches/1/poses/6","standard":{"deg":null,"m":0.0036651276575648413,"shown":"3.7 mm"},"standardised":1.4766076691904638e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":8.881784197001252e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":0.0027128572126533523,"shown":"2.7 mm"},"checked":0.854646200636261,"name":"stake on the heap 8","pointer":"/touches/1/poses/7","standard":{"deg":null,"m":0.003329372289406145,"shown":"3.3 mm"},"standardised":2.6131353721604385e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":0.0,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.0034251807551601843,"shown":"-3.4 mm"},"checked":0.8365901887735073,"name":"level by the pump house 1","pointer":"/staff_readings/0/seen/0","standard":{"deg":null,"m":0.003633352399730537,"shown":"3.6 mm"},"standardised":3.326331681499516e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":-8.881784197001252e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":-0.004447253595436962,"shown":"-4.4 mm"},"checked":0.7502011062945171,"name":"level by the pump house 2","pointer":"/staff_readings/0/seen/1","standard":{"deg":null,"m":0.0031324027181557877,"shown":"3.1 mm"},"standardised":-2.7756870465331363e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":0.0,"shown":"0.0 mm"},"before":{"deg":null,"m":-0.0010499545541204913,"shown":"-1.0 mm"},"checked":0.8470440272572285,"name":"level by the pump house 3","pointer":"/staff_readings/0/seen/2","standard":{"deg":null,"m":0.003930836872400381,"shown":"3.9 mm"},"standardised":4.223231231687181e-14,"suspect":false,"words":""},{"after":{"deg":null,"m":8.881784197001252e-16,"shown":"0.0 mm"},"before":{"deg":null,"m":0.001027026001537923,"shown":"1.0 mm"},"checked":0.8616409459283272,"name":"level by the pump house 4","pointer":"/staff_readings/0/seen/3","standard":{"deg":null,"m":0.0034232648175765044,"shown":"3.4 mm"},"standardised":3.283104712524188e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-8.881784197001252e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":0.0038534900805717864,"shown":"3.9 mm"},"checked":0.7646148247400802,"name":"level by the pump house 5","pointer":"/staff_readings/0/seen/4","standard":{"deg":null,"m":0.003327000975852306,"shown":"3.3 mm"},"standardised":-1.9788195782881688e-13,"suspect":false,"words":""},{"after":{"deg":null,"m":-2.220446049250313e-16,"shown":"-0.0 mm"},"before":{"deg":null,"m":0.0038712831288714167,"shown":"3.9 mm"},"checked":0.6233816262785045,"name":"level by the pump house 6","pointer":"/staff_readings/0/seen/5","standard":{"deg":null,"m":0.003627773515500722,"shown":"3.6 mm"},"standardised":4.902245848522779e-14,"suspect":false,"words":""},{"after":{"deg":1.5902773407317584e-15,"m":null,"shown":"0.000 deg"},"before":{"deg":-0.30000000000000043,"m":null,"shown":"-0.300 deg"},"checked":0.12503651053465561,"name":"level on the boom","pointer":"/link_checks/0","standard":{"deg":0.016984221930279726,"m":null,"shown":"0.017 deg"},"standardised":-3.37778981330057e-14,"suspect":false,"words":""}],"suspects":[],"together":[],"units":"m","unknowns":[{"change":{"deg":0.3000000000000016,"m":null,"shown":"0.300 deg"},"found":{"deg":3.5000000000000018,"m":null,"shown":"3.500 deg"},"name":"boom.zero","standard":{"deg":0.05207241309391185,"m":null,"shown":"0.052 deg"},"was":{"deg":3.2,"m":null,"shown":"3.200 deg"},"was_standard":{"deg":0.5,"m":null,"shown":"0.500 deg"},"words":"boom.zero is 3.500 deg, 0.300 deg more than the profile''s 3.200 deg; known to 0.052 deg"},{"change":{"deg":-0.20000000000000961,"m":null,"shown":"-0.200 deg"},"found":{"deg":-1.6000000000000096,"m":null,"shown":"-1.600 deg"},"name":"stick.zero","standard":{"deg":0.11030124072459548,"m":null,"shown":"0.110 deg"},"was":{"deg":-1.4,"m":null,"shown":"-1.400 deg"},"was_standard":{"deg":0.5,"m":null,"shown":"0.500 deg"},"words":"stick.zero is -1.600 deg, 0.200 deg less than the profile''s -1.400 deg; known to 0.110 deg"}],"verdict":"found","words":["boom.zero is 3.500 deg, 0.300 deg more than the profile''s 3.200 deg; known to 0.052 deg.","stick.zero is -1.600 deg, 0.200 deg less than the profile''s -1.400 deg; known to 0.110 deg."]},"asked":{"attachment":"our-bucket","attachment_revision":"4b67a28f0639c4444c21ad25577295ddaa23bed25d7d565f76a30ee7db701c06","doubts_seen":false,"left_out":[],"link_checks":[{"ahead":true,"angles_deg":{},"by":"level","cylinders_mm":{},"inclination_deg":12.0,"link":"boom","name":"level on the boom","readings":{"body":{"deg":[-0.3,-0.2]},"boom":{"deg":15.500000000000004},"idler":{"deg":-0.8096029073314159},"stick":{"deg":69.6}},"to_edge":false,"uncertainty_deg":0.05}],"machine":"our-digger","machine_revision":"f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c","staff_readings":[{"by":"level","name":"level by the pump house","seen":[{"angles_deg":{},"cylinders_mm":{},"edge_point":"centre","readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":8.7314982570127},"idler":{"deg":15.441385710244752},"stick":{"deg":61.292513963613786}},"rod":4.4},{"angles_deg":{},"cylinders_mm":{},"edge_point":"centre","readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":24.167027439066924},"idler":{"deg":38.83018648728095},"stick":{"deg":70.98169811775641}},"rod":3.66},{"angles_deg":{},"cylinders_mm":{},"edge_point":"centre","readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":25.43948572824575},"idler":{"deg":9.955893522277227},"stick":{"deg":59.510952243928834}},"rod":2.92},{"angles_deg":{},"cylinders_mm":{},"edge_point":"centre","readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":41.59269525087394},"idler":{"deg":35.03524534941302},"stick":{"deg":58.79330724721657}},"rod":2.18},{"angles_deg":{},"cylinders_mm":{},"edge_point":"centre","readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":38.222611057670754},"idler":{"deg":33.48693493641817},"stick":{"deg":31.496352658736235}},"rod":1.44},{"angles_deg":{},"cylinders_mm":{},"edge_point":"centre","readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":39.4126648096161},"idler":{"deg":59.86948297797655},"stick":{"deg":12.066076478472239}},"rod":0.7}]}],"touches":[{"edge_point":"centre","name":"nail in the slab","poses":[{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":28.900024422444304},"idler":{"deg":46.16537992668681},"stick":{"deg":48.50678321086236}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":36.933012598521046},"idler":{"deg":40.97962063327209},"stick":{"deg":74.30959535568681}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":15.501670398345517},"idler":{"deg":4.296304816415292},"stick":{"deg":42.57177033867433}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":29.412736501491032},"idler":{"deg":29.707357058418378},"stick":{"deg":53.05104336561276}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":17.10176624205333},"idler":{"deg":5.785107814613205},"stick":{"deg":43.9147479829192}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":20.45738832886998},"idler":{"deg":-3.8481870337407207},"stick":{"deg":57.9137437120914}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":13.404810738072564},"idler":{"deg":-11.060453472302392},"stick":{"deg":52.43186457161363}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":30.437783990126018},"idler":{"deg":48.30429341199508},"stick":{"deg":52.42103446034688}}}]},{"edge_point":"centre","name":"stake on the heap","poses":[{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":44.69972912310659},"idler":{"deg":30.944600578362678},"stick":{"deg":19.452434187860597}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":36.16791346273709},"idler":{"deg":37.827297877811034},"stick":{"deg":6.145861977335373}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":35.032239563364456},"idler":{"deg":35.57806163611842},"stick":{"deg":5.909166801795736}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":53.42257771100309},"idler":{"deg":50.12364343418457},"stick":{"deg":24.574541844696487}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":34.58793423291408},"idler":{"deg":41.07223200683046},"stick":{"deg":2.722067301276569}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":56.69983122454694},"idler":{"deg":45.270823432056396},"stick":{"deg":29.070225849601442}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":52.37325562591894},"idler":{"deg":54.91310417349737},"stick":{"deg":23.145626286859624}}},{"angles_deg":{},"cylinders_mm":{},"readings":{"body":{"deg":[-0.7583638359853875,0.029195860448058174]},"boom":{"deg":61.71111613453429},"idler":{"deg":38.64390253694438},"stick":{"deg":36.012573601150784}}}]}],"units":"m","unknowns":["boom.zero","stick.zero"]}}','61afaebd8beeaea4ed4f0b9441448d72698751dda2f9a065e0aced595fe5b850',NULL,'local','2026-12-01T01:32:38.277245Z',NULL,NULL);
CREATE TABLE event (
	job_id TEXT NOT NULL, 
	seq INTEGER NOT NULL, 
	uuid TEXT NOT NULL, 
	type TEXT NOT NULL, 
	payload_version INTEGER NOT NULL, 
	actor TEXT NOT NULL, 
	observed_utc TEXT NOT NULL, 
	recorded_utc TEXT NOT NULL, 
	idempotency_key TEXT, 
	request_hash TEXT, 
	payload TEXT NOT NULL, 
	previous_hash TEXT NOT NULL, 
	hash TEXT NOT NULL, 
	CONSTRAINT pk_event PRIMARY KEY (job_id, seq), 
	CONSTRAINT fk_event_job_id_job FOREIGN KEY(job_id) REFERENCES job (id), 
	CONSTRAINT uq_event_uuid UNIQUE (uuid), 
	CONSTRAINT uq_event_job_id_idempotency_key UNIQUE (job_id, idempotency_key), 
	CONSTRAINT ck_event_seq_from_one CHECK (seq >= 1)
);
INSERT INTO "event" VALUES('pump-house',1,'b2fcd5b4-27fb-4f89-8cd7-5e6dda3ce635','job-opened',4,'local','2026-12-01T01:32:38.407003Z','2026-12-01T01:32:38.413180Z',NULL,'59a9899952862621f50f971a05f54f2cab547bb972967c0edde3afdfe4f3fe0e','{"datum":"the slab''s own","estimates":{"benchmark_mm":0.0,"contact_mm":3.0,"distance_mm":50.0,"laser_distance_m":50.0,"laser_level_arcsec":10.0,"places_apart_m":20.0,"receiver_mm":1.5,"temperature_k":10.0},"hangs_on":[],"name":"A pit","note":"","rules":{"age_limit_s":2.0,"mast_deg":10.0,"speed_mm_per_revolution":3.0,"steady_deg":0.05,"steady_s":1.0,"surprise_mm":50.0,"up_down_mm":10.0},"units":"m","waits":false}','0000000000000000000000000000000000000000000000000000000000000000','f4e81dab1f42a630171b81d8d047019d2139c7853e124e476d75a9bab7c48536');
INSERT INTO "event" VALUES('pump-house',2,'86c23230-9dcd-4125-9cb6-3c5077eab2d7','benchmark-declared',4,'local','2026-12-01T01:32:38.661016Z','2026-12-01T01:32:38.675765Z',NULL,'67b2999e8553fae2d7f4e566fc24901416579a45db4598a34f232718cc19d60b','{"elevation_m":100.0,"entered":"100.0 m","hangs_on":[],"name":"slab","note":"","uncertainty_m":null,"waits":false}','f4e81dab1f42a630171b81d8d047019d2139c7853e124e476d75a9bab7c48536','737afaf0e1ee577141cfc2f7e94ba6bb2927d1f1c88c788a6031cb1c387af609');
INSERT INTO "event" VALUES('pump-house',3,'67afb513-f485-4c6d-9ede-67d95eed0586','setup-begun',4,'local','2026-12-01T01:32:38.741600Z','2026-12-01T01:32:38.744495Z',NULL,'f77b02cb96bcbc130cc9c5cf528351bedf0dcf58afe741d2d62054df0d8463a4','{"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","hangs_on":[],"machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","note":"","waits":false}','737afaf0e1ee577141cfc2f7e94ba6bb2927d1f1c88c788a6031cb1c387af609','93ed170c3ef0a646b7f3e0c3cf8e040fec783ad0876f3f74f215ab465403289e');
INSERT INTO "event" VALUES('pump-house',4,'7d495eb7-d29c-4120-9ad2-a586be3773d5','laser-set-up',4,'local','2026-12-01T01:32:38.754452Z','2026-12-01T01:32:38.757267Z',NULL,'9a53c2a43309ad99660300b0719f4c975c31720d80dd29847b33cc25f6d8dc1d','{"fall_percent":0.0,"hangs_on":[],"note":"","revolutions_per_s":10.0,"waits":false}','93ed170c3ef0a646b7f3e0c3cf8e040fec783ad0876f3f74f215ab465403289e','65ca5190c4d091deeaeb25ada515381bfba557e7a0abeebb43332eba3d5d5158');
INSERT INTO "event" VALUES('pump-house',5,'8d11aad1-6031-42a4-9a99-9a237c77bff1','benchmark-declared',4,'local','2026-12-01T01:32:38.765770Z','2026-12-01T01:32:38.768420Z',NULL,'1116f580c3cbb2c1dd8e57c717562728dd64669ac9bc3d4b4ab3a11628b91c88','{"elevation_m":100.42,"entered":"100.42 m","hangs_on":[],"name":"nail","note":"","uncertainty_m":0.002,"waits":false}','65ca5190c4d091deeaeb25ada515381bfba557e7a0abeebb43332eba3d5d5158','92d1072c9c64cf4cfceb2a5d19395c7de0025b8f23fddbcf4fbde6810b6c6c0f');
INSERT INTO "event" VALUES('pump-house',6,'a98b8919-4867-4217-996c-79fc226b6d5b','touched',4,'local','2026-12-01T01:32:38.780335Z','2026-12-01T01:32:38.784166Z',NULL,'5f73fc42f33da9b0e240e08824400a1cc592d7bea67d2451f1b8a90133760f49','{"edge_height_m":-1.620000000000085,"edge_point":"centre","elevation_m":101.62000000000009,"gives_plane":false,"hangs_on":[2],"misclosure_m":null,"note":"","point":"slab","pose":{"given":{"angles_deg":{"boom":13.99054254978786,"bucket":17.401956591485334,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":13.99054254978786,"bucket":17.401956591485334,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"purpose":"reference","role":"sets the height","waits":false}','92d1072c9c64cf4cfceb2a5d19395c7de0025b8f23fddbcf4fbde6810b6c6c0f','04e57a7ebb75c1ef8f958d2c41d893d95f6f9024d6b140ae843ca2f8fd9fe733');
INSERT INTO "event" VALUES('pump-house',7,'fbb12dce-f166-420d-a9fc-93fceedfcfc0','target-set',4,'local','2026-12-01T01:32:38.799176Z','2026-12-01T01:32:38.805418Z',NULL,'bb67dfa3f5f50030914cca921aec6324bf1fb076d84f2905fd7a4507888a6401','{"across_percent":0.0,"along_percent":0.0,"benchmark":"slab","floor_limit_below_m":null,"hangs_on":[2],"layers":[{"name":"all","thickness_m":1.42}],"name":"footing","note":"","overdig_m":0.0,"tolerance_m":0.0254,"waits":false}','04e57a7ebb75c1ef8f958d2c41d893d95f6f9024d6b140ae843ca2f8fd9fe733','2fe0e834403dcfe28bb30f79762b6ccaf8d075b2e18d401d25f7732e2b6a10a5');
INSERT INTO "event" VALUES('pump-house',8,'112558db-a7e0-4602-a38b-31afa24d116c','target-set',4,'local','2026-12-01T01:32:38.836002Z','2026-12-01T01:32:38.843418Z',NULL,'a224d6c596295051c3d71f7cce077337ece8464fb7dc2d6536d5a31122b77623','{"across_percent":0.0,"along_percent":-1.5,"benchmark":"slab","floor_limit_below_m":null,"hangs_on":[2],"layers":[{"name":"all","thickness_m":1.3}],"name":"drain","note":"","overdig_m":0.0,"tolerance_m":0.0254,"waits":false}','2fe0e834403dcfe28bb30f79762b6ccaf8d075b2e18d401d25f7732e2b6a10a5','582d6241d370c32313cf816ea7df5498801b211538a208262b794d916d1f984d');
INSERT INTO "event" VALUES('pump-house',9,'f9b7c01b-580e-4034-9337-8d86c1f31be4','station-touched',4,'local','2026-12-01T01:32:38.865642Z','2026-12-01T01:32:38.868850Z',NULL,'1d7fc95e4836538f02f1193fa10a285f11c7217a33eb697344943286a03ebcc0','{"direction_rad":-1.7717425388416584e-21,"edge_point":"centre","hangs_on":[2,8],"note":"","plumb":[0.010471784116245792,-0.00698087751102989,0.9999208014070907],"pose":{"given":{"angles_deg":{"boom":1.1730716253028928,"bucket":30.2194275159703,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":1.1730716253028928,"bucket":30.2194275159703,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"setup":1,"station_m":0.0,"target":"drain","waits":false,"x_m":4.880767091361343,"y_m":-0.0802465001181442}','582d6241d370c32313cf816ea7df5498801b211538a208262b794d916d1f984d','c8c8e6acd3e8d8a145943586e76b43e0d87dba81741a99023e21e389576c9ff4');
INSERT INTO "event" VALUES('pump-house',10,'cf286894-925b-4c4b-b771-334446bbcac7','check-taken',4,'local','2026-12-01T01:32:38.889848Z','2026-12-01T01:32:38.908247Z',NULL,'4d3f2398cf9d40e1b73bcc6b6ba945310e6d4e3cd4045f5a395750e1c1576f4b','{"assumed":0,"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","centre":{"above_target_m":8.526512829121202e-14,"below_floor_limit":false,"cut_fill_standard_m":0.008817112824258951,"elevation_m":98.58000000000008,"elevation_standard_m":0.008817112824258951,"lateral_m":-0.08122384678432543,"reach_m":4.823473549111561,"station_m":null,"target_elevation_m":98.58},"cross_slope_percent":0.6981047615580256,"cross_slope_standard_percent":0.28964316768629267,"entered_station_m":null,"hangs_on":[2,6,7],"left":{"above_target_m":-0.00628278975983676,"below_floor_limit":false,"cut_fill_standard_m":0.009900652819493051,"elevation_m":98.57371721024016,"elevation_standard_m":0.009900652819493051,"lateral_m":0.8187542232556243,"reach_m":4.823473549111561,"station_m":null,"target_elevation_m":98.58},"line":"edge","machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","note":"","pose":{"given":{"angles_deg":{"boom":-0.28625708575623715,"bucket":31.67875622702943,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":-0.28625708575623715,"bucket":31.67875622702943,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"right":{"above_target_m":0.006282789760021501,"below_floor_limit":false,"cut_fill_standard_m":0.009901978351909407,"elevation_m":98.58628278976002,"elevation_standard_m":0.009901978351909407,"lateral_m":-0.9812019168242749,"reach_m":4.823473549111561,"station_m":null,"target_elevation_m":98.58},"setup":1,"target":"footing","target_cross_slope_percent":0.0,"tolerance_m":0.0254,"waits":false,"warnings":[]}','c8c8e6acd3e8d8a145943586e76b43e0d87dba81741a99023e21e389576c9ff4','7c711017ec392d6ee13d999a7eb809288d4a7b7af21222669595dca05731aaee');
INSERT INTO "event" VALUES('pump-house',11,'290cf392-3d9f-4f12-b775-c1faa19bbd64','check-taken',4,'local','2026-12-01T01:32:38.921213Z','2026-12-01T01:32:38.929062Z',NULL,'7c0e73ee687323fd20234b44ff85c34e0017e67dd439a657e058f806d7cca16d','{"assumed":0,"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","centre":{"above_target_m":0.010000000000090381,"below_floor_limit":false,"cut_fill_standard_m":0.008815246673596648,"elevation_m":98.59000000000009,"elevation_standard_m":0.008815246673596648,"lateral_m":-0.08115403630816964,"reach_m":4.827704631475,"station_m":null,"target_elevation_m":98.58},"cross_slope_percent":0.6981047615580256,"cross_slope_standard_percent":0.28964316768629444,"entered_station_m":null,"hangs_on":[2,6,7],"left":{"above_target_m":0.003717210240168356,"below_floor_limit":false,"cut_fill_standard_m":0.009898990941626806,"elevation_m":98.58371721024017,"elevation_standard_m":0.009898990941626806,"lateral_m":0.81882403373178,"reach_m":4.827704631475,"station_m":null,"target_elevation_m":98.58},"line":"edge","machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","note":"","pose":{"given":{"angles_deg":{"boom":-0.1815080961441183,"bucket":31.574007237417312,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":-0.1815080961441183,"bucket":31.574007237417312,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"right":{"above_target_m":0.016282789760012406,"below_floor_limit":false,"cut_fill_standard_m":0.00990031669153563,"elevation_m":98.59628278976001,"elevation_standard_m":0.00990031669153563,"lateral_m":-0.9811321063481192,"reach_m":4.827704631475,"station_m":null,"target_elevation_m":98.58},"setup":1,"target":"footing","target_cross_slope_percent":0.0,"tolerance_m":0.0254,"waits":false,"warnings":[]}','7c711017ec392d6ee13d999a7eb809288d4a7b7af21222669595dca05731aaee','ed36ffbbc77e4b65b5fdc0afd1d17d6cfe3d61f1aed6fbe98a6d8bb02121ef61');
INSERT INTO "event" VALUES('pump-house',12,'008d1366-57d5-47b9-8f1f-42b4ec185253','check-taken',4,'local','2026-12-01T01:32:38.945597Z','2026-12-01T01:32:38.964915Z',NULL,'e521eb32e8adb865215faff7ff520154f4f59e8f5469bebf7c72555debd92eab','{"assumed":0,"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","centre":{"above_target_m":0.09000000000008868,"below_floor_limit":false,"cut_fill_standard_m":0.008800800882048834,"elevation_m":98.67000000000009,"elevation_standard_m":0.008800800882048834,"lateral_m":-0.08059555249892322,"reach_m":4.860782310740425,"station_m":null,"target_elevation_m":98.58},"cross_slope_percent":0.6981047615580255,"cross_slope_standard_percent":0.28964316768630854,"entered_station_m":null,"hangs_on":[2,6,7],"left":{"above_target_m":0.08371721024016665,"below_floor_limit":false,"cut_fill_standard_m":0.009886128884637604,"elevation_m":98.66371721024016,"elevation_standard_m":0.009886128884637604,"lateral_m":0.8193825175410265,"reach_m":4.860782310740425,"station_m":null,"target_elevation_m":98.58},"line":"edge","machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","note":"","pose":{"given":{"angles_deg":{"boom":0.6536211439208307,"bucket":30.73887799735236,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":0.6536211439208307,"bucket":30.73887799735236,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"right":{"above_target_m":0.09628278976002491,"below_floor_limit":false,"cut_fill_standard_m":0.009887456317459692,"elevation_m":98.67628278976002,"elevation_standard_m":0.009887456317459692,"lateral_m":-0.9805736225388728,"reach_m":4.860782310740425,"station_m":null,"target_elevation_m":98.58},"setup":1,"target":"footing","target_cross_slope_percent":0.0,"tolerance_m":0.0254,"waits":false,"warnings":[]}','ed36ffbbc77e4b65b5fdc0afd1d17d6cfe3d61f1aed6fbe98a6d8bb02121ef61','dad7c5768e670b3255e5fd13dbe38791796eb63c80cc050331f22df15b23aa83');
INSERT INTO "event" VALUES('pump-house',13,'83b7a3ad-9e65-4e77-a1e9-9a3077b17a54','withdrawn',4,'local','2026-12-01T01:32:38.991589Z','2026-12-01T01:32:38.998590Z',NULL,'d22895e775b46c31ce093532ebdc24f2d4aa6c42cb4ed9d0689a280a0195e865','{"hangs_on":[],"note":"","reason":"a mistake","seq":11,"waits":false}','dad7c5768e670b3255e5fd13dbe38791796eb63c80cc050331f22df15b23aa83','50b8a3340b28004eb99997546a3c527f5e4ad1fab1a9fe649a6117acda2c75fc');
INSERT INTO "event" VALUES('pump-house',14,'a67b5887-ba39-44cd-9993-dd991835f5ef','struck',4,'local','2026-12-01T01:32:39.088016Z','2026-12-01T01:32:39.101077Z',NULL,'d573e2e907811568c41c5712047e83a871fcfae8cb152480d9d57033ca28a895','{"along_fall_m":null,"because":[],"elevation_m":102.02000000000018,"half_difference_m":null,"hangs_on":[2,6],"mast_deg":2.039573236902119,"misclosure_m":null,"note":"","poses":[{"given":{"angles_deg":{"boom":15.903680349096705,"bucket":52.623761784505156,"stick":-108.5036803490967,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":15.903680349096705,"bucket":52.623761784505156,"stick":-108.50368034909671,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null}],"receiver_height_m":0.4000000000000918,"role":"sets the laser plane","steady_s":2.0,"taken":true,"tilt_spread_deg":0.01,"vertical_speed_mm_s":10.0,"waits":false}','50b8a3340b28004eb99997546a3c527f5e4ad1fab1a9fe649a6117acda2c75fc','d46f12d06774f7a340a772d18aaf79fa3b39ee1772ed726ae56aa2437bee1de5');
INSERT INTO "event" VALUES('pump-house',15,'039e6828-8068-4b7b-8aae-2c5239a76744','moved',4,'local','2026-12-01T01:32:39.150911Z','2026-12-01T01:32:39.153436Z',NULL,'23234ba5d5b14444d337184f16065d961ddcfbe9eae78116dd951dd38b815032','{"hangs_on":[],"note":"","waits":false}','d46f12d06774f7a340a772d18aaf79fa3b39ee1772ed726ae56aa2437bee1de5','8a96433e9d61c83ac8396f4e9baa765f6f4c448490eb9cd8f883effab7ac4a55');
INSERT INTO "event" VALUES('pump-house',16,'2913af2f-136c-42e5-abdf-800801573db2','struck',4,'local','2026-12-01T01:32:39.179510Z','2026-12-01T01:32:39.183174Z',NULL,'54db49c09d13fa5d5157a3c2fa11e6a5dca363372af28748905aa8069f1cb722','{"along_fall_m":null,"because":[],"elevation_m":101.47000000000018,"half_difference_m":null,"hangs_on":[2,6,14],"mast_deg":2.0395732369021062,"misclosure_m":null,"note":"","poses":[{"given":{"angles_deg":{"boom":17.86265185124924,"bucket":52.623761784505156,"stick":-110.46265185124922,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":17.86265185124924,"bucket":52.623761784505156,"stick":-110.46265185124922,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null}],"receiver_height_m":0.5500000000000003,"role":"carries the height from the laser plane","steady_s":2.0,"taken":true,"tilt_spread_deg":0.01,"vertical_speed_mm_s":10.0,"waits":false}','8a96433e9d61c83ac8396f4e9baa765f6f4c448490eb9cd8f883effab7ac4a55','420f579d573ee63f34443efbe2e1470fdf8567f056d11738d3ec22f8389e6b88');
INSERT INTO "event" VALUES('pump-house',17,'835a4de4-96e8-40db-bda8-fcb1d09ebc89','touched',4,'local','2026-12-01T01:32:39.247047Z','2026-12-01T01:32:39.262082Z',NULL,'f549d0b4c8735402dcf8dfa97df784d7e3b41d8358337485064a58f527d4db0c','{"edge_height_m":-1.4699999999999993,"edge_point":"centre","elevation_m":100.00000000000018,"gives_plane":false,"hangs_on":[2,6,14,16],"misclosure_m":1.8474111129762605e-13,"note":"","point":"slab","pose":{"given":{"angles_deg":{"boom":15.451769365337384,"bucket":15.940729775935809,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":15.451769365337384,"bucket":15.940729775935809,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"purpose":"check","role":"checks","waits":false}','420f579d573ee63f34443efbe2e1470fdf8567f056d11738d3ec22f8389e6b88','48d6780850c896007ac5b1505d9d6b915bdc91ba6951fa98d769b61e3907707a');
INSERT INTO "event" VALUES('pump-house',18,'727799a3-e7a0-44e8-9c8a-81598f9fe768','turning-point-taken',4,'local','2026-12-01T01:32:39.300368Z','2026-12-01T01:32:39.309696Z',NULL,'b9723529fbb08e5107c7e77b91a240be9339d4f8f0751cef4a710e9d0bc170ea','{"edge_height_m":-1.9000000000000004,"edge_point":"centre","elevation_m":99.57000000000018,"hangs_on":[2,6,14,16],"name":"kerb","note":"","pose":{"given":{"angles_deg":{"boom":12.33208098083643,"bucket":24.060418160436758,"stick":-75.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":12.33208098083643,"bucket":24.060418160436758,"stick":-75.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"waits":false}','48d6780850c896007ac5b1505d9d6b915bdc91ba6951fa98d769b61e3907707a','837405c6208179b388ef75c0ccda896ad8327d036af9773d636aac94d662be52');
INSERT INTO "event" VALUES('pump-house',19,'08ff4539-96ab-4327-9bb6-7002dd4e22ac','check-taken',4,'local','2026-12-01T01:32:39.342130Z','2026-12-01T01:32:39.376782Z',NULL,'ea84511e149cfd4a823f17ae828f4edbb9efb319fe440a9e8a89f0aaef553574','{"assumed":0,"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","centre":{"above_target_m":-0.009999999999820375,"below_floor_limit":false,"cut_fill_standard_m":0.010773178218527156,"elevation_m":98.57000000000018,"elevation_standard_m":0.010773178218527156,"lateral_m":-0.08024650011814419,"reach_m":4.70478983622319,"station_m":null,"target_elevation_m":98.58},"cross_slope_percent":0.6981047615580256,"cross_slope_standard_percent":0.2896431676862492,"entered_station_m":null,"hangs_on":[2,6,7,14,16],"left":{"above_target_m":-0.0162827897597424,"below_floor_limit":false,"cut_fill_standard_m":0.011676592631360654,"elevation_m":98.56371721024026,"elevation_standard_m":0.011676592631360654,"lateral_m":0.8197315699218055,"reach_m":4.70478983622319,"station_m":null,"target_elevation_m":98.58},"line":"edge","machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","note":"","pose":{"given":{"angles_deg":{"boom":1.9462925902162063,"bucket":34.44620655105698,"stick":-75.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":1.9462925902162063,"bucket":34.44620655105698,"stick":-75.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"right":{"above_target_m":-0.003717210239884139,"below_floor_limit":false,"cut_fill_standard_m":0.011677716677499108,"elevation_m":98.57628278976011,"elevation_standard_m":0.011677716677499108,"lateral_m":-0.9802245701580937,"reach_m":4.70478983622319,"station_m":null,"target_elevation_m":98.58},"setup":2,"target":"footing","target_cross_slope_percent":0.0,"tolerance_m":0.0254,"waits":false,"warnings":[]}','837405c6208179b388ef75c0ccda896ad8327d036af9773d636aac94d662be52','9df5c0bcdd790700feeb585d99a531035997a93b1380e79492d28d739384bc9e');
INSERT INTO "event" VALUES('pump-house',20,'06271c5a-b481-4a26-b597-5e4d73581c98','rod-checked',4,'local','2026-12-01T01:32:39.504226Z','2026-12-01T01:32:39.617191Z',NULL,'34c573192dbf928a7f05d4dbae3ad60ee2bfe3baf2df63b6ef0fb3dc9edc5d29','{"against":null,"common_m":0.009034390500577319,"difference_m":1.8474111129762605e-13,"edge_height_m":-1.9,"edge_point":"centre","elevation_m":99.57000000000018,"hangs_on":[2,6,14,16],"independent":true,"note":"","own_m":0.006679749824850871,"pose":{"given":{"angles_deg":{"boom":11.246777589819207,"bucket":20.145721551453985,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":11.246777589819207,"bucket":20.145721551453985,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"reach_share":0.7043950156280886,"staff":{"benchmark":"slab","by":"level","elevation_m":99.57,"readings_m":[4.0,4.430000000000007],"standard_m":0.002},"stood":{"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","setup":2},"swing_deg":null,"waits":false,"x_m":5.176784939064696,"y_m":-0.07326545250256394}','9df5c0bcdd790700feeb585d99a531035997a93b1380e79492d28d739384bc9e','d056252d1f21fac8c9d1afcb44cf45b0b2ded548cf8eaad15187491d83634119');
INSERT INTO "event" VALUES('pump-house',21,'398ca557-f13c-4e54-91b7-f8f58cbaba89','rules-set',4,'local','2026-12-01T01:32:39.642565Z','2026-12-01T01:32:39.645275Z',NULL,'c5bee88e683a1d6fc5dc56dbc79bb91fcdffab45fde8e2632bad8b7ab45aa71c','{"hangs_on":[],"note":"","rules":{"age_limit_s":3.0,"mast_deg":10.0,"speed_mm_per_revolution":3.0,"steady_deg":0.05,"steady_s":1.0,"surprise_mm":50.0,"up_down_mm":10.0},"waits":false}','d056252d1f21fac8c9d1afcb44cf45b0b2ded548cf8eaad15187491d83634119','548798a8e78162ad49837d83763b206090ec2c8bd1e04e9ed381db74217bd6bd');
INSERT INTO "event" VALUES('trench',1,'b15d0aba-a9c2-4723-9662-55150a74953c','job-opened',4,'local','2026-12-01T01:32:39.719155Z','2026-12-01T01:32:39.720955Z',NULL,'cd300d241192f9a90da6ff84e992f1ad4b4c88436fd2e4d805ce7f0b90fb56a7','{"datum":"","estimates":{"benchmark_mm":0.0,"contact_mm":3.0,"distance_mm":50.0,"laser_distance_m":50.0,"laser_level_arcsec":10.0,"places_apart_m":20.0,"receiver_mm":1.5,"temperature_k":10.0},"hangs_on":[],"name":"A pit","note":"","rules":{"age_limit_s":2.0,"mast_deg":10.0,"speed_mm_per_revolution":3.0,"steady_deg":0.05,"steady_s":1.0,"surprise_mm":50.0,"up_down_mm":10.0},"units":"ftin","waits":false}','0000000000000000000000000000000000000000000000000000000000000000','394a5262f17f072d07307959aca3b965b51d3d9da1ac9db8d6e32131aa1296db');
INSERT INTO "event" VALUES('trench',2,'fa1f9bdc-5b83-42d6-9266-ed5f0b88602a','benchmark-declared',4,'local','2026-12-01T01:32:39.741859Z','2026-12-01T01:32:39.745122Z',NULL,'a9b0ad07a85a69d36b59f38c9bad2088042eeb596685ac72851cc082b4c883ef','{"elevation_m":99.9998,"entered":"328'' 1\" ftin","hangs_on":[],"name":"slab","note":"","uncertainty_m":null,"waits":false}','394a5262f17f072d07307959aca3b965b51d3d9da1ac9db8d6e32131aa1296db','12a6c81f941983ebe2c76c9e71542859020f02ac97b673cae690fe83fbe94a76');
INSERT INTO "event" VALUES('trench',3,'41c79202-ee78-4fc7-9167-514770504f71','setup-begun',4,'local','2026-12-01T01:32:39.792835Z','2026-12-01T01:32:39.796170Z',NULL,'10ca2097e48233621dfcdb556c65155f99d1bc036a34ed756a0ec3c892d73aa0','{"attachment":"tilting-1800","attachment_hash":"01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67","hangs_on":[],"machine":"crawler-14t","machine_hash":"38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893","note":"","waits":false}','12a6c81f941983ebe2c76c9e71542859020f02ac97b673cae690fe83fbe94a76','329b08704a77d0cb5de902f9bdcf4fb49ace09a32bcdf3c5577e1fa290fc52cf');
INSERT INTO "event" VALUES('trench',4,'8d170e35-7ab6-4272-90bb-aec2b0f4f947','laser-set-up',4,'local','2026-12-01T01:32:39.831513Z','2026-12-01T01:32:39.834296Z',NULL,'2423a6a7852dafdbb5dced31b825f50a80b152fea4650e195654f8993baa7245','{"fall_percent":1.0,"hangs_on":[],"note":"","revolutions_per_s":10.0,"waits":false}','329b08704a77d0cb5de902f9bdcf4fb49ace09a32bcdf3c5577e1fa290fc52cf','d69aef7449c40e6093e0584f55a0f27fbc6d19a0647728798365eb493ade26f6');
INSERT INTO "event" VALUES('trench',5,'82b9cf46-8f9d-469d-8e0f-6379df34ae76','touched',4,'local','2026-12-01T01:32:39.898121Z','2026-12-01T01:32:39.919994Z',NULL,'fa3232ccedd63de8cdb84c3958c6b077850526c614c8be6192cb7e6579e29846','{"edge_height_m":-1.7,"edge_point":"centre","elevation_m":101.6998,"gives_plane":false,"hangs_on":[2],"misclosure_m":null,"note":"","point":"slab","pose":{"given":{"angles_deg":{"boom":13.208943104264518,"bucket":18.183556037008675,"stick":-70.0,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":13.208943104264518,"bucket":18.183556037008675,"stick":-70.0,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null},"purpose":"reference","role":"sets the height","waits":false}','d69aef7449c40e6093e0584f55a0f27fbc6d19a0647728798365eb493ade26f6','ecbd106d61d78963ae8e65cc78924481a5e34354a999675b8802562c3e4b7f01');
INSERT INTO "event" VALUES('trench',6,'07c42b63-8e38-4d8d-ae4e-b26007f2425b','target-set',4,'local','2026-12-01T01:32:39.953244Z','2026-12-01T01:32:39.992353Z',NULL,'2e0f21390f8647d36a733676e60f1299c4673ae70d011455d33a357201e69de8','{"across_percent":0.0,"along_percent":0.0,"benchmark":"slab","floor_limit_below_m":null,"hangs_on":[2],"layers":[{"name":"all","thickness_m":1.20015}],"name":"pipe","note":"","overdig_m":0.0,"tolerance_m":0.0254,"waits":false}','ecbd106d61d78963ae8e65cc78924481a5e34354a999675b8802562c3e4b7f01','de55b5224e3da5b5fd2efc97b3e6a44a36af057f4d87adbe9d690f0f9ab5c98a');
INSERT INTO "event" VALUES('trench',7,'1559717c-a813-4dcc-afa9-9c8d7d1c7ed3','struck',4,'local','2026-12-01T01:32:40.021271Z','2026-12-01T01:32:40.024630Z',NULL,'2548079c568175e343ab4f31f34f486d72c814a4db78aea58ccb535f484491e1','{"along_fall_m":null,"because":[],"elevation_m":102.04979999999989,"half_difference_m":null,"hangs_on":[2,5],"mast_deg":2.0395732369021062,"misclosure_m":null,"note":"","poses":[{"given":{"angles_deg":{"boom":15.25519761677934,"bucket":52.623761784505156,"stick":-107.85519761677934,"tilt":0.0},"cylinders_mm":{}},"joints_deg":{"boom":15.25519761677934,"bucket":52.623761784505156,"stick":-107.85519761677934,"tilt":0.0},"pitch_deg":0.6,"roll_deg":-0.4,"swing_deg":null}],"receiver_height_m":0.3499999999998983,"role":"sets the laser plane","steady_s":2.0,"taken":true,"tilt_spread_deg":0.01,"vertical_speed_mm_s":10.0,"waits":false}','de55b5224e3da5b5fd2efc97b3e6a44a36af057f4d87adbe9d690f0f9ab5c98a','995017cbc2036a3711f491171c221b4abeb891b128eaccc3217b1551dcf459bd');
CREATE TABLE job (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	opened_utc TEXT NOT NULL, 
	CONSTRAINT pk_job PRIMARY KEY (id)
);
INSERT INTO "job" VALUES('pump-house','A pit','2026-12-01T01:32:38.413180Z');
INSERT INTO "job" VALUES('trench','A pit','2026-12-01T01:32:39.720955Z');
CREATE TABLE profile_revision (
	kind TEXT NOT NULL, 
	content_hash TEXT NOT NULL, 
	profile_id TEXT NOT NULL, 
	document TEXT NOT NULL, 
	source_text TEXT NOT NULL, 
	origin TEXT NOT NULL, 
	recorded_utc TEXT NOT NULL, 
	ordinal INTEGER NOT NULL, 
	actor TEXT, 
	CONSTRAINT pk_profile_revision PRIMARY KEY (kind, content_hash), 
	CONSTRAINT uq_profile_revision_ordinal UNIQUE (ordinal), 
	CONSTRAINT uq_profile_revision_kind_profile_id_ordinal UNIQUE (kind, profile_id, ordinal), 
	CONSTRAINT ck_profile_revision_kind CHECK (kind IN ('machine', 'attachment')), 
	CONSTRAINT ck_profile_revision_origin CHECK (origin IN ('shipped', 'uploaded', 'calibrated', 'restored'))
);
INSERT INTO "profile_revision" VALUES('machine','3a36874e4178e3d9dcbec8d2a6796dfb441363aebe45840b20789f6a6d7599db','compact-1t8','{"boom":{"cylinder":{"extending":"raises","eye":{"x":900.0,"z":195.0},"foot":{"x":150.0,"z":-240.0},"longest":1160.0,"shortest":670.0},"foot":{"forward":165.0,"left":0.0},"foot_above_ground":580.0,"length":1850.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":265.0,"z":145.0},"longest":863.0,"shortest":505.0},"linkage":{"branch":"open","idler":204.0,"idler_pivot":{"x":945.0,"z":8.0},"power_link":179.0}},"id":"compact-1t8","kind":"machine","name":"Compact with swing boom, 1.8 t class","receiver":{"mast_angle":180.0,"place":{"x":400.0,"y":90.0,"z":130.0}},"schema":1,"sensors":{"body":{"age_limit_ms":500.0,"check":false,"latency_ms":40.0,"measures":"pitch-roll","mounting":{"left_up":0.6,"nose_up":-0.4,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"body","range":{"high":90.0,"low":-90.0},"side_sign":1,"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05},"boom-wire":{"age_limit_ms":500.0,"check":false,"latency_ms":20.0,"measures":"length","mounting":-45.0,"noise":0.5,"per_kelvin":0.0,"place":"boom","range":{"high":1250.0,"low":0.0},"sign":1,"zero_uncertainty":2.0},"bucket-wire":{"age_limit_ms":500.0,"check":false,"latency_ms":20.0,"measures":"length","mounting":-62.0,"noise":0.5,"per_kelvin":0.0,"place":"bucket","range":{"high":1000.0,"low":0.0},"sign":1,"zero_uncertainty":2.0},"stick-wire":{"age_limit_ms":500.0,"check":false,"latency_ms":20.0,"measures":"length","mounting":-120.0,"noise":0.5,"per_kelvin":0.0,"place":"stick","range":{"high":1250.0,"low":0.0},"sign":1,"zero_uncertainty":2.0},"swing-boom":{"age_limit_ms":500.0,"check":false,"latency_ms":20.0,"measures":"angle","mounting":1.8,"noise":0.1,"per_kelvin":0.002,"place":"swing_boom","range":{"high":180.0,"low":-180.0},"sign":-1,"zero_uncertainty":0.05}},"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-260.0,"z":140.0},"foot":{"x":930.0,"z":520.0},"longest":1310.0,"shortest":805.0},"length":1050.0},"swing_boom":{"post":{"forward":620.0,"left":0.0},"range":{"high":75.0,"low":-50.0}},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":3.0,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "compact-1t8"
name = "Compact with swing boom, 1.8 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 165, left = 0 }
foot_above_ground = 580
length = 1850

[boom.cylinder]
foot = { x = 150, z = -240 }
eye = { x = 900, z = 195 }
shortest = 670
longest = 1160
extending = "raises"

[stick]
length = 1050

[stick.cylinder]
foot = { x = 930, z = 520 }
eye = { x = -260, z = 140 }
shortest = 805
longest = 1310
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 945, z = 8 }
idler = 204
power_link = 179
branch = "open"

[bucket.cylinder]
foot = { x = 265, z = 145 }
shortest = 505
longest = 863
extending = "lowers"

[receiver]
place = { x = 400, y = 90, z = 130 }
mast_angle = 180

[swing_boom]
post = { forward = 620, left = 0 }
range = { low = -50, high = 75 }           # to the right, to the left

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
pin_slop = 1
flex = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.body]
place = "body"
measures = "pitch-roll"
sign = 1
side_sign = 1
mounting = { nose_up = -0.4, left_up = 0.6 }
range = { low = -90, high = 90 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 40
age_limit_ms = 500

[sensors.swing-boom]                        # an encoder on the post; it grows to the right
place = "swing_boom"
measures = "angle"
sign = -1
mounting = 1.8
range = { low = -180, high = 180 }
noise = 0.1
zero_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 20
age_limit_ms = 500

[sensors.boom-wire]                         # beside the cylinder, 45 mm shorter
place = "boom"
measures = "length"
sign = 1
mounting = -45
range = { low = 0, high = 1250 }
noise = 0.5
zero_uncertainty = 2
per_kelvin = 0
latency_ms = 20
age_limit_ms = 500

[sensors.stick-wire]
place = "stick"
measures = "length"
sign = 1
mounting = -120
range = { low = 0, high = 1250 }
noise = 0.5
zero_uncertainty = 2
per_kelvin = 0
latency_ms = 20
age_limit_ms = 500

[sensors.bucket-wire]
place = "bucket"
measures = "length"
sign = 1
mounting = -62
range = { low = 0, high = 1000 }
noise = 0.5
zero_uncertainty = 2
per_kelvin = 0
latency_ms = 20
age_limit_ms = 500
','shipped','2026-12-01T01:32:33.688658Z',1,NULL);
INSERT INTO "profile_revision" VALUES('machine','38d7f57253b182d7548cdb8904001090308ea28f732ca4b02cdb15d96a432893','crawler-14t','{"boom":{"cylinder":{"extending":"raises","eye":{"x":1950.0,"z":420.0},"foot":{"x":410.0,"z":-490.0},"longest":2430.0,"shortest":1417.0},"foot":{"forward":250.0,"left":-60.0},"foot_above_ground":1700.0,"length":4600.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":300.0,"z":400.0},"longest":2415.0,"shortest":1410.0},"linkage":{"branch":"open","idler":570.0,"idler_pivot":{"x":2200.0,"z":20.0},"power_link":500.0}},"id":"crawler-14t","kind":"machine","name":"Crawler, 14 t class","receiver":{"mast_angle":180.0,"place":{"x":900.0,"y":180.0,"z":260.0}},"schema":1,"sensors":{"body":{"age_limit_ms":500.0,"check":false,"latency_ms":40.0,"measures":"pitch-roll","mounting":{"left_up":-0.2,"nose_up":0.3,"to_left":0.0},"noise":0.05,"per_kelvin":0.002,"place":"body","range":{"high":90.0,"low":-90.0},"side_sign":1,"sign":-1,"skew_uncertainty":0.5,"zero_uncertainty":0.05},"boom":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":3.2,"to_left":0.0},"noise":0.05,"per_kelvin":0.002,"place":"boom","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05},"idler":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":12.5,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"idler","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.1},"stick":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":-1.4,"to_left":0.0},"noise":0.05,"per_kelvin":0.002,"place":"stick","range":{"high":180.0,"low":-180.0},"sign":-1,"skew_uncertainty":0.5,"zero_uncertainty":0.05}},"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-550.0,"z":300.0},"foot":{"x":2350.0,"z":950.0},"longest":3015.0,"shortest":1965.0},"length":2500.0},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":3.0,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "crawler-14t"
name = "Crawler, 14 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 250, left = -60 }
foot_above_ground = 1700
length = 4600

[boom.cylinder]
foot = { x = 410, z = -490 }
eye = { x = 1950, z = 420 }
shortest = 1417
longest = 2430
extending = "raises"

[stick]
length = 2500

[stick.cylinder]
foot = { x = 2350, z = 950 }
eye = { x = -550, z = 300 }
shortest = 1965
longest = 3015
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 2200, z = 20 }
idler = 570
power_link = 500
branch = "open"

[bucket.cylinder]
foot = { x = 300, z = 400 }
shortest = 1410
longest = 2415
extending = "lowers"

[receiver]
place = { x = 900, y = 180, z = 260 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
pin_slop = 1
flex = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.body]                              # its pitch grows nose down
place = "body"
measures = "pitch-roll"
sign = -1
side_sign = 1
mounting = { nose_up = 0.3, left_up = -0.2 }
range = { low = -90, high = 90 }
noise = 0.05
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 40
age_limit_ms = 500

[sensors.boom]
place = "boom"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 3.2 }
range = { low = -180, high = 180 }
noise = 0.05
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.stick]                             # its reading grows as the stick is lowered
place = "stick"
measures = "gravity-angle"
sign = -1
mounting = { nose_up = -1.4 }
range = { low = -180, high = 180 }
noise = 0.05
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.idler]
place = "idler"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 12.5 }
range = { low = -180, high = 180 }
noise = 0.08
zero_uncertainty = 0.1
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500
','shipped','2026-12-01T01:32:33.750357Z',2,NULL);
INSERT INTO "profile_revision" VALUES('machine','6fd88f42f8000938a6e0569c0adf8a9730f81f14d6ee35c0d0b196330407f081','crawler-21t','{"boom":{"cylinder":{"extending":"raises","eye":{"x":2450.0,"z":550.0},"foot":{"x":560.0,"z":-660.0},"longest":3030.0,"shortest":1710.0},"foot":{"forward":180.0,"left":0.0},"foot_above_ground":1850.0,"length":5700.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":350.0,"z":550.0},"longest":2790.0,"shortest":1670.0},"linkage":{"branch":"open","idler":650.0,"idler_pivot":{"x":2600.0,"z":20.0},"power_link":610.0}},"id":"crawler-21t","kind":"machine","name":"Crawler, 21 t class","receiver":{"mast_angle":180.0,"place":{"x":1050.0,"y":200.0,"z":300.0}},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-680.0,"z":360.0},"foot":{"x":2950.0,"z":1100.0},"longest":3665.0,"shortest":2380.0},"length":2900.0},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":3.0,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "crawler-21t"
name = "Crawler, 21 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 180, left = 0 }
foot_above_ground = 1850
length = 5700

[boom.cylinder]
foot = { x = 560, z = -660 }
eye = { x = 2450, z = 550 }
shortest = 1710
longest = 3030
extending = "raises"

[stick]
length = 2900

[stick.cylinder]
foot = { x = 2950, z = 1100 }
eye = { x = -680, z = 360 }
shortest = 2380
longest = 3665
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 2600, z = 20 }
idler = 650
power_link = 610
branch = "open"

[bucket.cylinder]
foot = { x = 350, z = 550 }
shortest = 1670
longest = 2790
extending = "lowers"

[receiver]
place = { x = 1050, y = 200, z = 300 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
pin_slop = 1
flex = 3
','shipped','2026-12-01T01:32:33.768401Z',3,NULL);
INSERT INTO "profile_revision" VALUES('machine','19fc6c56054ecc6d325c017ce4f696bae94148bb1b06d2365d5f79c94f76f3fb','long-reach-22t','{"boom":{"cylinder":{"extending":"raises","eye":{"x":2450.0,"z":650.0},"foot":{"x":560.0,"z":-660.0},"longest":3090.0,"shortest":1750.0},"foot":{"forward":150.0,"left":0.0},"foot_above_ground":1900.0,"length":8600.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":4100.0,"z":420.0},"longest":2410.0,"shortest":1410.0},"linkage":{"branch":"open","idler":575.0,"idler_pivot":{"x":5990.0,"z":25.0},"power_link":505.0}},"id":"long-reach-22t","kind":"machine","name":"Crawler with long-reach front, 22 t class","receiver":{"mast_angle":180.0,"place":{"x":1500.0,"y":200.0,"z":300.0}},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-820.0,"z":420.0},"foot":{"x":5900.0,"z":1150.0},"longest":3775.0,"shortest":2185.0},"length":6300.0},"uncertainty":{"angles":0.1,"flex":15.0,"lengths":3.0,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "long-reach-22t"
name = "Crawler with long-reach front, 22 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 150, left = 0 }
foot_above_ground = 1900
length = 8600

[boom.cylinder]
foot = { x = 560, z = -660 }
eye = { x = 2450, z = 650 }
shortest = 1750
longest = 3090
extending = "raises"

[stick]
length = 6300

[stick.cylinder]
foot = { x = 5900, z = 1150 }
eye = { x = -820, z = 420 }
shortest = 2185
longest = 3775
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 5990, z = 25 }
idler = 575
power_link = 505
branch = "open"

[bucket.cylinder]
foot = { x = 4100, z = 420 }
shortest = 1410
longest = 2410
extending = "lowers"

[receiver]
place = { x = 1500, y = 200, z = 300 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
pin_slop = 1
flex = 15
','shipped','2026-12-01T01:32:33.770322Z',4,NULL);
INSERT INTO "profile_revision" VALUES('machine','083fc3f9752850cebb0dc27838c392088875162f1b7701418bc145633b31f500','midi-8t','{"boom":{"cylinder":{"extending":"raises","eye":{"x":1620.0,"z":330.0},"foot":{"x":270.0,"z":-420.0},"longest":2045.0,"shortest":1210.0},"foot":{"forward":290.0,"left":0.0},"foot_above_ground":1250.0,"length":3600.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":535.0,"z":258.0},"longest":1553.0,"shortest":907.0},"linkage":{"branch":"open","idler":366.0,"idler_pivot":{"x":1757.0,"z":14.0},"power_link":321.0}},"id":"midi-8t","kind":"machine","name":"Midi crawler, 8 t class","receiver":{"mast_angle":180.0,"place":{"x":750.0,"y":140.0,"z":220.0}},"schema":1,"sensors":{"body-pitch":{"age_limit_ms":500.0,"axis":"ahead","check":false,"latency_ms":30.0,"measures":"inclination","mounting":{"left_up":0.0,"nose_up":0.5,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"body","range":{"high":60.0,"low":-60.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05},"body-roll":{"age_limit_ms":500.0,"axis":"left","check":false,"latency_ms":30.0,"measures":"inclination","mounting":{"left_up":-0.7,"nose_up":0.0,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"body","range":{"high":60.0,"low":-60.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05},"boom":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"inclination","mounting":{"left_up":0.0,"nose_up":2.1,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"boom","range":{"high":90.0,"low":-90.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05},"idler":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"inclination","mounting":{"left_up":0.0,"nose_up":4.0,"to_left":0.0},"noise":0.1,"per_kelvin":0.002,"place":"idler","range":{"high":90.0,"low":-90.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.1},"stick":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"inclination","mounting":{"left_up":0.0,"nose_up":90.6,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"stick","range":{"high":90.0,"low":-90.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05}},"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-440.0,"z":240.0},"foot":{"x":1850.0,"z":760.0},"longest":2365.0,"shortest":1515.0},"length":1950.0},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":3.0,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "midi-8t"
name = "Midi crawler, 8 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 290, left = 0 }
foot_above_ground = 1250
length = 3600

[boom.cylinder]
foot = { x = 270, z = -420 }
eye = { x = 1620, z = 330 }
shortest = 1210
longest = 2045
extending = "raises"

[stick]
length = 1950

[stick.cylinder]
foot = { x = 1850, z = 760 }
eye = { x = -440, z = 240 }
shortest = 1515
longest = 2365
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 1757, z = 14 }
idler = 366
power_link = 321
branch = "open"

[bucket.cylinder]
foot = { x = 535, z = 258 }
shortest = 907
longest = 1553
extending = "lowers"

[receiver]
place = { x = 750, y = 140, z = 220 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
pin_slop = 1
flex = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.body-pitch]
place = "body"
measures = "inclination"
sign = 1
axis = "ahead"
mounting = { nose_up = 0.5 }
range = { low = -60, high = 60 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.body-roll]
place = "body"
measures = "inclination"
sign = 1
axis = "left"
mounting = { nose_up = 0, left_up = -0.7 }
range = { low = -60, high = 60 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.boom]
place = "boom"
measures = "inclination"
sign = 1
mounting = { nose_up = 2.1 }
range = { low = -90, high = 90 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.stick]                             # square to the pin line: level when the stick hangs
place = "stick"
measures = "inclination"
sign = 1
mounting = { nose_up = 90.6 }
range = { low = -90, high = 90 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.idler]
place = "idler"
measures = "inclination"
sign = 1
mounting = { nose_up = 4 }
range = { low = -90, high = 90 }
noise = 0.1
zero_uncertainty = 0.1
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500
','shipped','2026-12-01T01:32:33.782013Z',5,NULL);
INSERT INTO "profile_revision" VALUES('machine','340659ceb28dc17ba1646c66af53b9127e2ba6d7c573da487f8d1925407a32a8','published-mini','{"boom":{"cylinder":{"extending":"raises","eye":{"x":1.025,"z":0.278},"foot":{"x":0.135,"z":-0.264},"longest":1.305,"shortest":0.905},"foot":{"forward":0.6,"left":0.0},"length":2.05},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":-0.134,"z":0.32},"longest":1.26,"shortest":0.84},"linkage":{"branch":"open","idler":0.24,"idler_pivot":{"x":0.88,"z":0.0},"power_link":0.24}},"id":"published-mini","kind":"machine","name":"Mini excavator from a published model","schema":1,"source":"Pins, links and cylinder lengths: an open MATLAB model of a mini excavator (files excavatorConstants, excavatorModel), digits read in the published text; repository name and licence not known to us. Not in the publication and ours: the boom foot pin''s distance from the swing axis.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-0.251,"z":0.158},"foot":{"x":0.977,"z":0.737},"longest":1.556,"shortest":1.046},"length":1.05},"uncertainty":{"angles":0.001745,"flex":0.003,"lengths":0.0005,"pin_slop":0.001},"units":{"angle":"rad","length":"m"}}','schema = 1
kind = "machine"
id = "published-mini"
name = "Mini excavator from a published model"
source = """Pins, links and cylinder lengths: an open MATLAB model of a mini excavator (files excavatorConstants, \
excavatorModel), digits read in the published text; repository name and licence not known to us. \
Not in the publication and ours: the boom foot pin''s distance from the swing axis."""

[units]
length = "m"
angle = "rad"

[boom]
foot = { forward = 0.6, left = 0.0 }   # ours
length = 2.050

[boom.cylinder]
foot = { x = 0.135, z = -0.264 }
eye = { x = 1.025, z = 0.278 }
shortest = 0.905
longest = 1.305
extending = "raises"

[stick]
length = 1.050

[stick.cylinder]
foot = { x = 0.977, z = 0.737 }
eye = { x = -0.251, z = 0.158 }
shortest = 1.046
longest = 1.556
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 0.880, z = 0.0 }
idler = 0.240
power_link = 0.240
branch = "open"

[bucket.cylinder]
foot = { x = -0.134, z = 0.320 }
shortest = 0.84
longest = 1.26
extending = "lowers"

# Uncertainty: lengths half of the last digit printed; the others common practice, no source.
[uncertainty]
lengths = 0.0005
angles = 0.001745
pin_slop = 0.001
flex = 0.003
','shipped','2026-12-01T01:32:33.792908Z',6,NULL);
INSERT INTO "profile_revision" VALUES('machine','1d20be7cc9e19d23c5a23e8396e1acadd9a65a61d1f04a439440d9466addca70','wheeled-16t','{"boom":{"cylinder":{"extending":"raises","eye":{"x":1780.0,"z":380.0},"foot":{"x":420.0,"z":-480.0},"longest":2300.0,"shortest":1355.0},"foot":{"forward":330.0,"left":0.0},"foot_above_ground":1950.0,"length":3000.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":250.0,"z":410.0},"longest":2420.0,"shortest":1420.0},"linkage":{"branch":"open","idler":575.0,"idler_pivot":{"x":2140.0,"z":30.0},"power_link":510.0}},"fore_boom":{"cylinder":{"extending":"raises","eye":{"x":560.0,"z":-330.0},"foot":{"x":1500.0,"z":-470.0},"longest":2010.0,"shortest":1435.0},"length":2200.0},"id":"wheeled-16t","kind":"machine","name":"Wheeled with two-piece boom, 16 t class","receiver":{"mast_angle":180.0,"place":{"x":900.0,"y":180.0,"z":260.0}},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-560.0,"z":310.0},"foot":{"x":400.0,"z":800.0},"longest":2555.0,"shortest":1475.0},"length":2450.0},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":3.0,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "wheeled-16t"
name = "Wheeled with two-piece boom, 16 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 330, left = 0 }
foot_above_ground = 1950
length = 3000

[boom.cylinder]
foot = { x = 420, z = -480 }
eye = { x = 1780, z = 380 }
shortest = 1355
longest = 2300
extending = "raises"

[fore_boom]
length = 2200

[fore_boom.cylinder]
foot = { x = 1500, z = -470 }
eye = { x = 560, z = -330 }
shortest = 1435
longest = 2010
extending = "raises"

[stick]
length = 2450

[stick.cylinder]
foot = { x = 400, z = 800 }
eye = { x = -560, z = 310 }
shortest = 1475
longest = 2555
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 2140, z = 30 }
idler = 575
power_link = 510
branch = "open"

[bucket.cylinder]
foot = { x = 250, z = 410 }
shortest = 1420
longest = 2420
extending = "lowers"

[receiver]
place = { x = 900, y = 180, z = 260 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
pin_slop = 1
flex = 3
','shipped','2026-12-01T01:32:33.803037Z',7,NULL);
INSERT INTO "profile_revision" VALUES('attachment','3333bf1dbd535ba2fc3a0666cd94daf4a09b59f358e6117bca476c2bf3bf1c38','compact-bucket-400','{"bucket":{"edge":{"x":-100.0,"z":-560.0},"heel":{"x":165.0,"z":-315.0},"heel_width":370.0,"width":400.0},"id":"compact-bucket-400","kind":"attachment","name":"Bucket with teeth for the compact, 0.4 m","pins":{"spacing":150.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","teeth":{"tip":{"x":-135.0,"z":-600.0},"width":390.0},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "compact-bucket-400"
name = "Bucket with teeth for the compact, 0.4 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 150

[bucket]
width = 400
edge = { x = -100, z = -560 }
heel = { x = 165, z = -315 }
heel_width = 370

[teeth]
tip = { x = -135, z = -600 }
width = 390

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.805264Z',8,NULL);
INSERT INTO "profile_revision" VALUES('attachment','834661a6234d766e927423a30a3b583064094c848970134413a66c6d52656fb1','coupled-900','{"bucket":{"edge":{"x":-230.0,"z":-1180.0},"heel":{"x":350.0,"z":-690.0},"heel_width":850.0,"width":900.0},"coupler":{"angle":4.0,"play":0.6,"x":15.0,"z":-245.0},"id":"coupled-900","kind":"attachment","name":"Digging bucket on a quick coupler with play, 0.9 m","pins":{"spacing":420.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","teeth":{"tip":{"x":-305.0,"z":-1270.0},"width":880.0},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "coupled-900"
name = "Digging bucket on a quick coupler with play, 0.9 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[coupler]                                   # the pins it holds, from the machine''s own two
x = 15
z = -245
angle = 4
play = 0.6                                  # in all, from stop to stop

[bucket]
width = 900
edge = { x = -230, z = -1180 }
heel = { x = 350, z = -690 }
heel_width = 850

[teeth]
tip = { x = -305, z = -1270 }
width = 880

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.806619Z',9,NULL);
INSERT INTO "profile_revision" VALUES('attachment','72cae5cf2c331f3f3a4773f11ca1737443f0f34f355bc230015f812251b5d25c','digging-1500','{"bucket":{"edge":{"x":-234.0,"z":-1329.0},"heel":{"x":408.0,"z":-751.0},"heel_width":1440.0,"width":1500.0},"id":"digging-1500","kind":"attachment","name":"Digging bucket with teeth, 1.5 m","pins":{"spacing":420.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","teeth":{"tip":{"x":-314.0,"z":-1421.0},"width":1480.0},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "digging-1500"
name = "Digging bucket with teeth, 1.5 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[bucket]
width = 1500
edge = { x = -234, z = -1329 }
heel = { x = 408, z = -751 }
heel_width = 1440

[teeth]
tip = { x = -314, z = -1421 }
width = 1480

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.819287Z',10,NULL);
INSERT INTO "profile_revision" VALUES('attachment','24822794195d28e3b898d37faa274ef2c79dc9ed58d3e753d1787e20eda15650','ditching-1800','{"bucket":{"edge":{"x":-245.0,"z":-1060.0},"heel":{"x":285.0,"z":-640.0},"width":1800.0},"id":"ditching-1800","kind":"attachment","name":"Ditch-cleaning bucket without teeth, 1.8 m","pins":{"spacing":420.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "ditching-1800"
name = "Ditch-cleaning bucket without teeth, 1.8 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[bucket]
width = 1800
edge = { x = -245, z = -1060 }
heel = { x = 285, z = -640 }

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.820870Z',11,NULL);
INSERT INTO "profile_revision" VALUES('attachment','3c396bb1041fbbbdd833368cbded093bc6c13af07e6a08704456d1caa57188d1','midi-bucket-700','{"bucket":{"edge":{"x":-170.0,"z":-1000.0},"heel":{"x":275.0,"z":-560.0},"heel_width":660.0,"width":700.0},"id":"midi-bucket-700","kind":"attachment","name":"Bucket with teeth for the midi, 0.7 m","pins":{"spacing":270.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","teeth":{"tip":{"x":-225.0,"z":-1065.0},"width":690.0},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "midi-bucket-700"
name = "Bucket with teeth for the midi, 0.7 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 270

[bucket]
width = 700
edge = { x = -170, z = -1000 }
heel = { x = 275, z = -560 }
heel_width = 660

[teeth]
tip = { x = -225, z = -1065 }
width = 690

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.821861Z',12,NULL);
INSERT INTO "profile_revision" VALUES('attachment','4ca242fd16e84e32dc53a69c99620eb56f880f7526b122684e632c03b0113f97','published-mini-bucket','{"bucket":{"edge":{"x":-0.0482270348670894,"z":-0.5649452655859047},"heel":{"x":0.218,"z":-0.27},"width":0.6},"id":"published-mini-bucket","kind":"attachment","name":"Bucket of the published mini excavator","pins":{"spacing":0.1645964762684791},"schema":1,"source":"Link lug K = (-0.014, 0.164) m and tip M = (0.567, 0) m seen from the bucket pin: an open MATLAB model of a mini excavator, digits read in the published text. Here turned into the frame of the two pins, whose x axis runs 1.6559557194146033 rad ahead of the line to the tip: spacing = hypot(0.014, 0.164). Not in the publication and ours: width and heel.","uncertainty":{"angles":0.001745,"edge_wear":0.003,"lengths":0.0005},"units":{"angle":"rad","length":"m"}}','schema = 1
kind = "attachment"
id = "published-mini-bucket"
name = "Bucket of the published mini excavator"
source = """Link lug K = (-0.014, 0.164) m and tip M = (0.567, 0) m seen from the bucket pin: an open MATLAB model of a \
mini excavator, digits read in the published text. Here turned into the frame of the two pins, whose x axis runs \
1.6559557194146033 rad ahead of the line to the tip: spacing = hypot(0.014, 0.164). \
Not in the publication and ours: width and heel."""

[units]
length = "m"
angle = "rad"

[pins]
spacing = 0.1645964762684791

[bucket]
width = 0.6                                                  # ours
edge = { x = -0.0482270348670894, z = -0.5649452655859047 }
heel = { x = 0.218, z = -0.27 }                              # ours

# Uncertainty: lengths half of the last digit printed; the others common practice, no source.
[uncertainty]
lengths = 0.0005
angles = 0.001745
edge_wear = 0.003
','shipped','2026-12-01T01:32:33.826816Z',13,NULL);
INSERT INTO "profile_revision" VALUES('attachment','3b5f3d8e2787518de4e44d49bbf747bf08534e3e3b64fa6c5e01e132a1aecb29','tilt-rotator-1600','{"bucket":{"edge":{"x":-588.0,"z":-809.0},"heel":{"x":22.0,"z":-679.0},"width":1600.0},"coupler":{"angle":32.0,"x":329.0,"z":-243.0},"id":"tilt-rotator-1600","kind":"attachment","mount":{"angle":-12.0,"x":-210.0,"z":-400.0},"name":"Tilt-rotator with a bucket of 1.6 m","pins":{"spacing":420.0},"rotate":{"check":{"angle":30.0,"left_corner_forward":-272.0},"direction":{"x":0.0,"y":0.0,"z":1.0},"point":{"x":0.0,"y":0.0,"z":0.0},"range":{"high":180.0,"low":-180.0}},"schema":1,"sensors":{"rotate":{"age_limit_ms":500.0,"check":false,"latency_ms":20.0,"measures":"angle","mounting":2.5,"noise":0.1,"per_kelvin":0.002,"place":"rotate","range":{"high":180.0,"low":-180.0},"sign":1,"zero_uncertainty":0.05},"tilt":{"age_limit_ms":500.0,"axis":"left","check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":-0.3,"nose_up":0.2,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"tilt","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05}},"source":"Invented for the demonstration; proportions usual for the class, from memory. The checks are worked, not taped.","tilt":{"check":{"angle":10.0,"left_corner_up":155.0},"direction":{"x":1.0,"y":0.0,"z":0.0},"point":{"x":0.0,"y":0.0,"z":0.0},"range":{"high":40.0,"low":-40.0}},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "tilt-rotator-1600"
name = "Tilt-rotator with a bucket of 1.6 m"
source = "Invented for the demonstration; proportions usual for the class, from memory. The checks are worked, not taped."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[coupler]                                   # to the rotator: level with the floor flat, origin on both axes
x = 329
z = -243
angle = 32

[tilt]
point = { x = 0, y = 0, z = 0 }
direction = { x = 1, y = 0, z = 0 }
range = { low = -40, high = 40 }
check = { angle = 10, left_corner_up = 155 }

[rotate]
point = { x = 0, y = 0, z = 0 }
direction = { x = 0, y = 0, z = 1 }
range = { low = -180, high = 180 }
check = { angle = 30, left_corner_forward = -272 }

[mount]                                     # to the bucket''s own two pins
x = -210
z = -400
angle = -12

[bucket]
width = 1600
edge = { x = -588, z = -809 }
heel = { x = 22, z = -679 }

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.tilt]
place = "tilt"
measures = "gravity-angle"
sign = 1
axis = "left"
mounting = { nose_up = 0.2, left_up = -0.3 }
range = { low = -180, high = 180 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.rotate]                            # an encoder
place = "rotate"
measures = "angle"
sign = 1
mounting = 2.5
range = { low = -180, high = 180 }
noise = 0.1
zero_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 20
age_limit_ms = 500
','shipped','2026-12-01T01:32:33.829164Z',14,NULL);
INSERT INTO "profile_revision" VALUES('attachment','01c8765d1d9d3007a2f96ca67eba12ea16c2e73472a2a5ded1866a09ef3d6c67','tilting-1800','{"bucket":{"edge":{"x":-259.0,"z":-1121.0},"heel":{"x":249.0,"z":-724.0},"width":1800.0},"id":"tilting-1800","kind":"attachment","name":"Tilting bucket without teeth, 1.8 m","pins":{"spacing":420.0},"schema":1,"sensors":{"tilt":{"age_limit_ms":500.0,"axis":"left","check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.4,"nose_up":38.0,"to_left":0.0},"noise":0.08,"per_kelvin":0.002,"place":"tilt","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.5,"zero_uncertainty":0.05}},"source":"Invented for the demonstration; proportions usual for the class, from memory. The check is worked, not taped.","tilt":{"check":{"angle":10.0,"left_corner_up":164.0},"direction":{"x":0.788,"y":0.0,"z":0.616},"point":{"x":-62.0,"y":0.0,"z":-327.0},"range":{"high":45.0,"low":-45.0}},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "tilting-1800"
name = "Tilting bucket without teeth, 1.8 m"
source = "Invented for the demonstration; proportions usual for the class, from memory. The check is worked, not taped."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[tilt]                                      # level and straight ahead with the floor flat
point = { x = -62, y = 0, z = -327 }
direction = { x = 0.788, y = 0, z = 0.616 }
range = { low = -45, high = 45 }
check = { angle = 10, left_corner_up = 164 }

[bucket]
width = 1800
edge = { x = -259, z = -1121 }
heel = { x = 249, z = -724 }

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.tilt]                              # its x along the tilt axis, 38 deg over the pin line
place = "tilt"
measures = "gravity-angle"
sign = 1
axis = "left"
mounting = { nose_up = 38, left_up = 0.4 }
range = { low = -180, high = 180 }
noise = 0.08
zero_uncertainty = 0.05
skew_uncertainty = 0.5
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500
','shipped','2026-12-01T01:32:33.841438Z',15,NULL);
INSERT INTO "profile_revision" VALUES('attachment','b38d0b91ff586e6d5d4ba00ed2f824a918c46879f317c1b44b73bc0a06fb117f','trenching-600','{"bucket":{"edge":{"x":-226.0,"z":-1280.0},"heel":{"x":372.0,"z":-742.0},"heel_width":560.0,"width":600.0},"id":"trenching-600","kind":"attachment","name":"Trenching bucket, 0.6 m","pins":{"spacing":420.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","teeth":{"tip":{"x":-305.0,"z":-1372.0},"width":590.0},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "trenching-600"
name = "Trenching bucket, 0.6 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[bucket]
width = 600
edge = { x = -226, z = -1280 }
heel = { x = 372, z = -742 }
heel_width = 560

[teeth]
tip = { x = -305, z = -1372 }
width = 590

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.848748Z',16,NULL);
INSERT INTO "profile_revision" VALUES('attachment','808c0c86f569020b2c61b95bcd5a019fb7f3995b78114e85977f6d1bc97cfd9a','v-bucket-1200','{"bucket":{"edge":{"centre":2,"points":[[-426.0,600.0,-912.0],[-221.0,100.0,-1156.0],[-200.0,0.0,-1180.0],[-221.0,-100.0,-1156.0],[-426.0,-600.0,-912.0]]},"heel":{"x":360.0,"z":-700.0},"heel_width":1.0},"id":"v-bucket-1200","kind":"attachment","name":"V bucket for ditches, 1.2 m","pins":{"spacing":420.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":3.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "v-bucket-1200"
name = "V bucket for ditches, 1.2 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[bucket]                                    # the keel of the V lies 350 mm below its corners, floor flat
heel = { x = 360, z = -700 }                # where the keel ends
heel_width = 1                              # the keel is a ridge

[bucket.edge]
centre = 2
points = [
  [-426, 600, -912],
  [-221, 100, -1156],
  [-200, 0, -1180],
  [-221, -100, -1156],
  [-426, -600, -912],
]

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 3
angles = 0.1
edge_wear = 3
','shipped','2026-12-01T01:32:33.855230Z',17,NULL);
INSERT INTO "profile_revision" VALUES('machine','f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c','our-digger','{"boom":{"cylinder":{"extending":"raises","eye":{"x":1950.0,"z":420.0},"foot":{"x":410.0,"z":-490.0},"longest":2430.0,"shortest":1417.0},"foot":{"forward":250.0,"left":-60.0},"foot_above_ground":1700.0,"length":4600.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":300.0,"z":400.0},"longest":2415.0,"shortest":1410.0},"linkage":{"branch":"open","idler":570.0,"idler_pivot":{"x":2200.0,"z":20.0},"power_link":500.0}},"id":"our-digger","kind":"machine","name":"Crawler, 14 t class","receiver":{"mast_angle":180.0,"place":{"x":900.0,"y":180.0,"z":260.0}},"schema":1,"sensors":{"body":{"age_limit_ms":500.0,"check":false,"latency_ms":40.0,"measures":"pitch-roll","mounting":{"left_up":-0.2,"nose_up":0.3,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"body","range":{"high":90.0,"low":-90.0},"side_sign":1,"sign":-1,"skew_uncertainty":0.05,"zero_uncertainty":0.5},"boom":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":3.2,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"boom","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.05,"zero_uncertainty":0.5},"idler":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":12.5,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"idler","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.05,"zero_uncertainty":0.02},"stick":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":-1.4,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"stick","range":{"high":180.0,"low":-180.0},"sign":-1,"skew_uncertainty":0.05,"zero_uncertainty":0.5}},"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-550.0,"z":300.0},"foot":{"x":2350.0,"z":950.0},"longest":3015.0,"shortest":1965.0},"length":2500.0},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":0.5,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "our-digger"
name = "Crawler, 14 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 250, left = -60 }
foot_above_ground = 1700
length = 4600

[boom.cylinder]
foot = { x = 410, z = -490 }
eye = { x = 1950, z = 420 }
shortest = 1417
longest = 2430
extending = "raises"

[stick]
length = 2500

[stick.cylinder]
foot = { x = 2350, z = 950 }
eye = { x = -550, z = 300 }
shortest = 1965
longest = 3015
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 2200, z = 20 }
idler = 570
power_link = 500
branch = "open"

[bucket.cylinder]
foot = { x = 300, z = 400 }
shortest = 1410
longest = 2415
extending = "lowers"

[receiver]
place = { x = 900, y = 180, z = 260 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 0.5
angles = 0.1
pin_slop = 1
flex = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.body]                              # its pitch grows nose down
place = "body"
measures = "pitch-roll"
sign = -1
side_sign = 1
mounting = { nose_up = 0.3, left_up = -0.2 }
range = { low = -90, high = 90 }
noise = 0.01
zero_uncertainty = 0.5
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 40
age_limit_ms = 500

[sensors.boom]
place = "boom"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 3.2 }
range = { low = -180, high = 180 }
noise = 0.01
zero_uncertainty = 0.5
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.stick]                             # its reading grows as the stick is lowered
place = "stick"
measures = "gravity-angle"
sign = -1
mounting = { nose_up = -1.4 }
range = { low = -180, high = 180 }
noise = 0.01
zero_uncertainty = 0.5
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.idler]
place = "idler"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 12.5 }
range = { low = -180, high = 180 }
noise = 0.01
zero_uncertainty = 0.02
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500
','uploaded','2026-12-01T01:32:35.335844Z',18,'local');
INSERT INTO "profile_revision" VALUES('attachment','4b67a28f0639c4444c21ad25577295ddaa23bed25d7d565f76a30ee7db701c06','our-bucket','{"bucket":{"edge":{"x":-234.0,"z":-1329.0},"heel":{"x":408.0,"z":-751.0},"heel_width":1440.0,"width":1500.0},"id":"our-bucket","kind":"attachment","name":"Digging bucket with teeth, 1.5 m","pins":{"spacing":420.0},"schema":1,"source":"Invented for the demonstration; proportions usual for the class, from memory.","teeth":{"tip":{"x":-314.0,"z":-1421.0},"width":1480.0},"uncertainty":{"angles":0.1,"edge_wear":3.0,"lengths":0.5},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "attachment"
id = "our-bucket"
name = "Digging bucket with teeth, 1.5 m"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[pins]
spacing = 420

[bucket]
width = 1500
edge = { x = -234, z = -1329 }
heel = { x = 408, z = -751 }
heel_width = 1440

[teeth]
tip = { x = -314, z = -1421 }
width = 1480

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 0.5
angles = 0.1
edge_wear = 3
','uploaded','2026-12-01T01:32:35.490951Z',19,'local');
INSERT INTO "profile_revision" VALUES('machine','e440607266f594b166df18c1ef04fb6ee1613d7b29658826afdb2d386d9fa3f7','our-digger','{"boom":{"cylinder":{"extending":"raises","eye":{"x":1950.0,"z":420.0},"foot":{"x":410.0,"z":-490.0},"longest":2430.0,"shortest":1417.0},"foot":{"forward":250.0,"left":-60.0},"foot_above_ground":1700.0,"length":4600.0},"bucket":{"cylinder":{"extending":"lowers","foot":{"x":300.0,"z":400.0},"longest":2415.0,"shortest":1410.0},"linkage":{"branch":"open","idler":570.0,"idler_pivot":{"x":2200.0,"z":20.0},"power_link":500.0}},"calibration":{"correlations":[[-0.055830739]],"date":"2026-12-01","from_revision":"f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c","names":["boom.zero","stick.zero"],"observations":23,"observations_sha256":"bf76565217640b204ea065aa85605e21d75144ee5b16b59a0d3c0bcc4fe2dd9f","of":{"boom.zero":{"found":3.5,"standard":0.0521,"was":3.2},"stick.zero":{"found":-1.6,"standard":0.11,"was":-1.4}},"rms_after":1.807e-13,"rms_before":1.338},"id":"our-digger","kind":"machine","name":"Crawler, 14 t class","receiver":{"mast_angle":180.0,"place":{"x":900.0,"y":180.0,"z":260.0}},"schema":1,"sensors":{"body":{"age_limit_ms":500.0,"check":false,"latency_ms":40.0,"measures":"pitch-roll","mounting":{"left_up":-0.2,"nose_up":0.3,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"body","range":{"high":90.0,"low":-90.0},"side_sign":1,"sign":-1,"skew_uncertainty":0.05,"zero_uncertainty":0.5},"boom":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":3.5,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"boom","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.05,"zero_uncertainty":0.0521},"idler":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":12.5,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"idler","range":{"high":180.0,"low":-180.0},"sign":1,"skew_uncertainty":0.05,"zero_uncertainty":0.02},"stick":{"age_limit_ms":500.0,"check":false,"latency_ms":30.0,"measures":"gravity-angle","mounting":{"left_up":0.0,"nose_up":-1.6,"to_left":0.0},"noise":0.01,"per_kelvin":0.002,"place":"stick","range":{"high":180.0,"low":-180.0},"sign":-1,"skew_uncertainty":0.05,"zero_uncertainty":0.11}},"source":"Invented for the demonstration; proportions usual for the class, from memory.","stick":{"cylinder":{"extending":"lowers","eye":{"x":-550.0,"z":300.0},"foot":{"x":2350.0,"z":950.0},"longest":3015.0,"shortest":1965.0},"length":2500.0},"uncertainty":{"angles":0.1,"flex":3.0,"lengths":0.5,"pin_slop":1.0},"units":{"angle":"deg","length":"mm"}}','schema = 1
kind = "machine"
id = "our-digger"
name = "Crawler, 14 t class"
source = "Invented for the demonstration; proportions usual for the class, from memory."

[units]
length = "mm"
angle = "deg"

[boom]
foot = { forward = 250, left = -60 }
foot_above_ground = 1700
length = 4600

[boom.cylinder]
foot = { x = 410, z = -490 }
eye = { x = 1950, z = 420 }
shortest = 1417
longest = 2430
extending = "raises"

[stick]
length = 2500

[stick.cylinder]
foot = { x = 2350, z = 950 }
eye = { x = -550, z = 300 }
shortest = 1965
longest = 3015
extending = "lowers"

[bucket.linkage]
idler_pivot = { x = 2200, z = 20 }
idler = 570
power_link = 500
branch = "open"

[bucket.cylinder]
foot = { x = 300, z = 400 }
shortest = 1410
longest = 2415
extending = "lowers"

[receiver]
place = { x = 900, y = 180, z = 260 }
mast_angle = 180

# Uncertainty: common practice, no source.
[uncertainty]
lengths = 0.5
angles = 0.1
pin_slop = 1
flex = 3

# Sensors: mountings invented; noise, uncertainties, latency and age limit as usual (common practice, no source).
[sensors.body]                              # its pitch grows nose down
place = "body"
measures = "pitch-roll"
sign = -1
side_sign = 1
mounting = { nose_up = 0.3, left_up = -0.2 }
range = { low = -90, high = 90 }
noise = 0.01
zero_uncertainty = 0.5
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 40
age_limit_ms = 500

[sensors.boom]
place = "boom"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 3.5 }
range = { low = -180, high = 180 }
noise = 0.01
zero_uncertainty = 0.0521
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.stick]                             # its reading grows as the stick is lowered
place = "stick"
measures = "gravity-angle"
sign = -1
mounting = { nose_up = -1.6 }
range = { low = -180, high = 180 }
noise = 0.01
zero_uncertainty = 0.11
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[sensors.idler]
place = "idler"
measures = "gravity-angle"
sign = 1
mounting = { nose_up = 12.5 }
range = { low = -180, high = 180 }
noise = 0.01
zero_uncertainty = 0.02
skew_uncertainty = 0.05
per_kelvin = 0.002
latency_ms = 30
age_limit_ms = 500

[calibration]
date = "2026-12-01"
observations = 23
observations_sha256 = "bf76565217640b204ea065aa85605e21d75144ee5b16b59a0d3c0bcc4fe2dd9f"
rms_before = 1.338
rms_after = 1.807e-13
names = ["boom.zero", "stick.zero"]
correlations = [[-0.055830739]]
from_revision = "f753084ea08b9bebb46e0220ad379c92699e7798179d79e5253a9754cc161d9c"

[calibration.of]
"boom.zero" = {was = 3.2, found = 3.5, standard = 0.0521}
"stick.zero" = {was = -1.4, found = -1.6, standard = 0.11}
','calibrated','2026-12-01T01:32:38.266966Z',20,'local');
CREATE INDEX ix_access_credential_holder ON access_credential (holder);
COMMIT;
