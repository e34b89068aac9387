//! A handler that does nothing but return bytes: what the machine and actix-web allow.

use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer, web};

/// Serves the bytes of a file on a port, with the headers of the answer that they are of; a 304 where `If-None-Match` comes.
pub fn serve(port: &str, file: &str) {
    let body = web::Bytes::from(std::fs::read(file).expect("the bytes"));
    let headers = std::fs::read_to_string(format!("{file}.headers")).expect("the headers");
    let headers: Vec<(HeaderName, HeaderValue)> = headers
        .lines()
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.parse().expect("a name"), value.parse().expect("a value")))
        .collect();
    let workers = std::thread::available_parallelism().map_or(2, usize::from);
    let address = format!("127.0.0.1:{port}");
    let server = HttpServer::new(move || {
        let (body, headers) = (body.clone(), headers.clone());
        App::new().default_service(web::to(move |request: HttpRequest| {
            let mut response = match request.headers().contains_key(header::IF_NONE_MATCH) {
                true => HttpResponse::NotModified(),
                false => HttpResponse::Ok(),
            };
            for (name, value) in &headers {
                response.insert_header((name.clone(), value.clone()));
            }
            let body =
                if request.headers().contains_key(header::IF_NONE_MATCH) { web::Bytes::new() } else { body.clone() };
            async move { response.body(body) }
        }))
    });
    let server = server.workers(workers).bind(address).expect("a free port").run();
    actix_web::rt::System::new().block_on(server).expect("served");
}
